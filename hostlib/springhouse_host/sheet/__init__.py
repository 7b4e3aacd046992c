"""The sizing sheet: one charge against one day (`sizing.py`), and what else people ask of it."""
