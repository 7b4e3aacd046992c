"""find.py SLICE: explore that slice of the firmware on the path, interpreted.

Prints "INV-nn" for what is broken, else what is missed, else "none".
"""

import sys
import warnings

import numpy as np
from springhouse_host.proof import abstract
from springhouse_sim.abstract import search

if __name__ == "__main__":
    warnings.simplefilter("ignore", RuntimeWarning)  # the hash of a state may wrap
    np.seterr(over="ignore")
    part = next(part for part in abstract.slices() if part.name == sys.argv[1])
    machine = abstract.Machine(part, code=search)
    explored, keys = machine.explore()
    if explored.broken:
        print(f"INV-{explored.broken:02d}")
    else:
        print("\n".join(machine.missed(explored, keys)) or "none")
