"""Feeds recorded readings to the core and prints each transition: the same text on any Python."""

from array import array

from springhouse import controller, reading, setting
from springhouse import memory as cell

SHOWN = (cell.STORE_STATE, cell.ROOM_STATE, cell.OUT, cell.LATCH, cell.MODE)


def replay(folder: str, say) -> None:
    """`folder` holds settings.bin and tape.bin, both little-endian int32.

    Allocates only where it prints: the wasm build's garbage collection does not survive long runs.
    """
    memory = array("i", [0] * cell.SIZE)
    settings = array("i", [0] * setting.SIZE)
    readings = array("i", [0] * reading.SIZE)
    before = array("i", [-1] * 5)
    with open(folder + "/settings.bin", "rb") as f:
        f.readinto(settings)
    controller.power_up(memory)
    tick = 0
    with open(folder + "/tape.bin", "rb") as f:
        while f.readinto(readings) == 4 * reading.SIZE:
            controller.step(memory, settings, readings)
            changed = False
            for i in range(5):
                if before[i] != memory[SHOWN[i]]:
                    before[i] = memory[SHOWN[i]]
                    changed = True
            if changed:
                say(f"{tick} {before[0]} {before[1]} {before[2]} {before[3]} {before[4]}")
            tick += 1
    total = 1
    for slot in range(cell.SIZE):
        total = (total * 31 + (memory[slot] & 0x3FFFFF)) & 0x3FFFFF
    say(f"{tick} steps, memory {total}")
