"""The board on the local network: it shows and publishes, and obeys nothing."""
