"""A board watched: records off the link, kept in a database, shown in words. Nothing is sent."""
