"""A board to run the real firmware on: MicroPython with stand-ins for pins, buses and time."""
