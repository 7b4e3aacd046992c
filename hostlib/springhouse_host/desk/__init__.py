"""A page on this computer: change the installation and see its hottest week again."""
