"""The control core of a chilled-water cold store: integers only, no clock, no I/O.

The same files run on the board under MicroPython and inside the simulated plant.
"""
