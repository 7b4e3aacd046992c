"""A kept part of micropython-lib, unchanged: see README.md and LICENSE beside it."""
