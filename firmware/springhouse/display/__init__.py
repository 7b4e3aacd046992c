"""A small text display, imported only where the wiring names one: it shows, and obeys nothing."""
