"""The simulated installation: the plant, the world that acts on it, and the bench."""

import time

BEGAN_NS = time.time_ns()  # of this process: a source that is touched later may not be what runs
