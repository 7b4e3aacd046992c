# mypy: ignore-errors
"""Stand-in for `os`: the built-in one, with a board's name and the room of its flash.

Both come from the environment (`process.Chip`). The room is counted in whole blocks.
"""

import uos
from uos import *  # noqa: F403

_BLOCK = 4096


def uname():
    """As boards name themselves."""
    import collections

    fields = ("sysname", "release", "machine")
    values = [uos.getenv("BOARD_" + name.upper()) for name in fields]
    return collections.namedtuple("uname", fields)(*values)


def _used(path):
    used = 0
    for entry in uos.ilistdir(path):
        name = path + "/" + entry[0]
        if entry[1] & 0x4000:
            used += _BLOCK + _used(name)
        else:
            used += (uos.stat(name)[6] + _BLOCK - 1) // _BLOCK * _BLOCK
    return used


def statvfs(_path):
    """Block size and free blocks where the built-in one has them."""
    blocks = int(uos.getenv("BOARD_FLASH_KIB")) * 1024 // _BLOCK
    free = max(0, blocks - _used(".") // _BLOCK)
    return (_BLOCK, _BLOCK, blocks, free, free, 0, 0, 0, 0, 255)
