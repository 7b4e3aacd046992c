"""What a board says of itself at its prompt, and whether an image can run there."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from .build import Image

# As the interpreter names the chip behind " with "; what stands before it differs between makers.
CHIPS = {"pico_w": "RP2040", "pico_2w": "RP2350", "esp32": "ESP32"}
# The first that has all that the image uses: asyncio under this name 1.21, the RP2350 1.24,
# machine.Counter on the ESP32 1.26. From memory; docs/build.md says what was tried.
OLDEST = {"pico_w": (1, 21), "pico_2w": (1, 24), "esp32": (1, 26)}
MPY_VERSION = 6
HEAP_BYTES, NETWORK_HEAP_BYTES = 112 * 1024, 140 * 1024  # held by tests/board/test_heap.py
SPARE_BYTES = 32 * 1024  # for settings, boot count and log
MODULES = ("asyncio", "binascii", "hashlib", "machine", "onewire", "select", "struct")
NETWORK_MODULES = ("network", "socket")

# Prints one table. Sizes are whole blocks; `idle` is what the folder to be filled holds now.
ASK = """
import gc, json, os, sys
def _size(p, block):
    n = 0
    for e in os.ilistdir(p):
        q = p + "/" + e[0]
        if e[1] & 0x4000:
            n += block + _size(q, block)
        else:
            n += (os.stat(q)[6] + block - 1) // block * block
    return n
def _ask(idle, modules):
    gc.collect()
    said = {"heap": gc.mem_free() + gc.mem_alloc()}
    try:
        u = os.uname()
        said["platform"], said["release"], said["machine"] = u.sysname, u.release, u.machine
    except AttributeError:
        i = sys.implementation
        said["platform"], said["machine"] = sys.platform, getattr(i, "_machine", "")
        said["release"] = ".".join([str(n) for n in i.version[:3]])
    said["mpy"] = getattr(sys.implementation, "_mpy", 0) & 0xFF
    v = os.statvfs("/")
    said["block"], said["room"] = v[1], v[1] * v[3]
    try:
        said["idle"] = _size(idle, v[1])
    except OSError:
        said["idle"] = 0
    missing = []
    for name in modules:
        try:
            __import__(name)
        except ImportError:
            missing.append(name)
    try:
        import machine
        said["counter"] = hasattr(machine, "Counter")
    except ImportError:
        said["counter"] = False
    said["missing"] = missing
    print(json.dumps(said))
"""


@dataclass(frozen=True)
class BoardFacts:
    """One board: as it names itself, its interpreter, its heap, and the room for files [bytes]."""

    machine: str
    platform: str
    release: str
    mpy: int
    heap: int
    block: int
    room: int
    idle: int
    counter: bool
    missing: tuple[str, ...]

    def text(self) -> str:
        """Return it in a line for people."""
        return (
            f"{self.machine or self.platform}, MicroPython {self.release}, "
            f"heap {self.heap // 1024} kB, room for files {self.room // 1024} kB"
        )


def facts(said: Mapping[str, object]) -> BoardFacts:
    """Return the facts in an answer to `ASK`.

    Raises:
        ValueError: it is no such answer.
    """
    try:
        machine, platform, release = (str(said[k]) for k in ("machine", "platform", "release"))
        mpy, heap, block, room, idle = (
            int(str(said[key])) for key in ("mpy", "heap", "block", "room", "idle")
        )
        missing = said["missing"]
        if not isinstance(missing, list) or min(mpy, heap, room, idle) < 0 or block < 1:
            raise ValueError
        absent = tuple(map(str, missing))
        counter = bool(said["counter"])
        return BoardFacts(machine, platform, release, mpy, heap, block, room, idle, counter, absent)
    except (KeyError, TypeError, ValueError):
        raise ValueError("the board's account of itself cannot be read") from None


def release_of(text: str) -> tuple[int, ...]:
    """Return the numbers of a version such as 1.26.0-preview.10, as far as they go."""
    found: list[int] = []
    for part in text.removeprefix("v").split("-")[0].split("."):
        if not part.isdecimal():
            break
        found.append(int(part))
    return tuple(found)


def needs(sizes: Iterable[int], block: int) -> int:
    """Return the room that files take in whole blocks, with one for each name."""
    return sum((math.ceil(size / block) + 1) * block for size in sizes)


def refusal(board: BoardFacts, image: Image, network: bool) -> str:
    """Return in one line why an image cannot run on a board, "" if nothing speaks against it."""
    chip = CHIPS[image.board]
    oldest = OLDEST[image.board]
    heap = NETWORK_HEAP_BYTES if network else HEAP_BYTES
    room = board.room + board.idle - needs(map(len, image.code.values()), board.block)
    version = ".".join(map(str, oldest))
    if chip not in board.machine.replace("/", " ").split():
        return f"board: it is {board.machine or board.platform}; this image is for {chip}"
    if release_of(board.release) < oldest:
        return f"board: MicroPython {board.release} is too old: {image.board} needs {version}"
    if board.mpy != MPY_VERSION:
        return (
            f"board: reads bytecode of version {board.mpy}, not {MPY_VERSION}: {version} or newer"
        )
    if board.missing:
        return f"board: its interpreter has no {', '.join(board.missing)}"
    if image.board == "esp32" and not board.counter:
        return f"board: its interpreter has no machine.Counter: {image.board} needs {version}"
    if board.heap < heap:
        with_it = " with a network" if network else ""
        return f"board: heap {board.heap // 1024} kB, needed{with_it} {heap // 1024} kB"
    if room < SPARE_BYTES:
        lack_kb = (SPARE_BYTES - room + 1023) // 1024
        return f"board: its file system lacks {lack_kb} kB: delete files that are not springhouse's"
    return ""
