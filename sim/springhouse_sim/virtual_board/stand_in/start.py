# mypy: ignore-errors
"""Power-up of the virtual board: boot.py, then main.py, in the current folder.

Arguments: read and write descriptor of the plant's pipe, tick at boot, reset cause, the
chip's registers of it (address=word,...), what to do when the program has ended: idle or prompt.
"""

import builtins
import sys

import plant_wire
import run_queue

sys.modules["_asyncio"] = run_queue
plant_wire.open_wire(int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
plant_wire.S.cause = int(sys.argv[4])
if sys.argv[5] != "-":
    plant_wire.S.words = {
        int(w.split("=")[0]): int(w.split("=")[1]) for w in sys.argv[5].split(",")
    }
sys.path.insert(0, "")
_GARBAGE = 1024  # bytes at a time, of about what a board's file system and reader take for a file
_import = builtins.__import__


def _import_from_flash(*arguments):
    """Import with garbage before and behind what stays, as reading from flash leaves it."""
    bytearray(_GARBAGE)
    module = _import(*arguments)
    bytearray(_GARBAGE)
    return module


builtins.__import__ = _import_from_flash
try:
    plant_wire.advance(0)
    for name in ("boot.py", "main.py"):
        with open(name) as f:
            source = f.read()
        exec(compile(source, name, "exec"), {"__name__": "__main__"})
except KeyboardInterrupt:
    print("interrupted")
finally:
    if sys.argv[6] == "prompt":
        plant_wire.prompt()  # the interpreter's follows
if sys.argv[6] == "idle":
    plant_wire.idle()
