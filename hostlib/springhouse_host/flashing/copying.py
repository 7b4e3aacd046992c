"""Files onto the board through its interpreter's raw prompt, by the mpremote package.

Entering that prompt stops the program, hence only in safe mode. Everything goes into the idle one
of the folders `a` and `b`; one small file, renamed into place, makes it the one that runs, for good
if there is no older version and else on trial (`main.py`).
"""

import contextlib
import hashlib
import io
import json
import struct
from collections.abc import Callable, Iterator, Mapping, Sequence

import serial
from mpremote.transport import TransportError

from .board_facts import ASK, BoardFacts, facts
from .entering import PATIENCE, NoPrompt, Patience, enter, let_go

FOLDERS = ("a", "b")
POINTER, TRIAL, FAILED = "current", "trial", "failed"  # names of folders; see the board's main.py
CHUNK = 1024
Progress = Callable[[int, int], None]

_WIPE = """
import os
def _wipe(p):
    for e in os.ilistdir(p):
        q = p + "/" + e[0]
        if e[1] & 0x4000:
            _wipe(q)
        else:
            os.remove(q)
    os.rmdir(p)
try:
    _wipe({folder!r})
except OSError:
    pass
"""


class CopyError(Exception):
    """The copy failed; the text says at which file."""


@contextlib.contextmanager
def _failing(what: str) -> Iterator[None]:
    """Turn whatever the serial line and the board do wrong into one error."""
    try:
        with contextlib.redirect_stdout(io.StringIO()):  # the package prints what it got
            yield
    except (TransportError, serial.SerialException, OSError, struct.error, SyntaxError) as error:
        text = " ".join(str(error).split())[-160:]
        raise CopyError(f"{what}: {text or type(error).__name__}") from None


class Prompt:
    """The board's raw prompt.

    Raises:
        CopyError: the board does not give it.
    """

    def __init__(self, port: str, patience: Patience = PATIENCE) -> None:
        try:
            self._transport = enter(port, patience)
        except NoPrompt as problem:
            raise CopyError(f"prompt: {problem}") from None
        self._at_prompt = True

    def close(self) -> None:
        """Let go of the port; a board that was not reset stays at its prompt."""
        let_go(self._transport, self._at_prompt)

    def running_folder(self) -> str:
        """Return the folder that runs now, "" if there is none."""
        with _failing(POINTER):
            if not self._transport.fs_exists(POINTER):
                return ""
            name = bytes(self._transport.fs_readfile(POINTER)).decode(errors="replace").strip()
            return name if name in FOLDERS else ""

    def hash(self, path: str) -> str:
        """Return the SHA-256 that the board computes of one of its files, "" if it is missing."""
        with _failing(path):
            if not self._transport.fs_exists(path):
                return ""
            return bytes(self._transport.fs_hashfile(path, "sha256")).hex()

    def put(self, path: str, data: bytes) -> None:
        """Write a file and have the board read it back.

        Raises:
            CopyError: it could not be written, or reads back differently.
        """
        with _failing(path):
            self._transport.fs_writefile(path, data, chunk_size=CHUNK)
        if self.hash(path) != hashlib.sha256(data).hexdigest():
            raise CopyError(f"{path}: reads back differently")

    def replace(self, path: str, data: bytes) -> None:
        """Replace a file in one step; a cut leaves the old one."""
        if self.hash(path) == hashlib.sha256(data).hexdigest():
            return
        self.put(path + ".new", data)
        with _failing(path):
            self._transport.exec(f"import os\nos.rename({path + '.new'!r}, {path!r})")

    def fill(self, folder: str, files: Mapping[str, bytes], progress: Progress) -> None:
        """Make a folder hold exactly these files, each read back."""
        with _failing(folder):
            self._wipe(folder)
            for name in sorted({folder, *(f"{folder}/{p}" for p in _folders(files))}):
                self._transport.fs_mkdir(name)
        for n, (name, data) in enumerate(files.items()):
            self.put(f"{folder}/{name}", data)
            progress(n + 1, len(files))

    def _wipe(self, folder: str) -> None:
        self._transport.exec(_WIPE.format(folder=folder))

    def empty(self, folder: str) -> None:
        """Remove a folder: one that is half filled takes the room of the next try."""
        with _failing(folder):
            self._wipe(folder)

    def ask(self, idle: str, modules: Sequence[str]) -> BoardFacts:
        """Return what the board says of itself.

        Raises:
            CopyError: it says nothing that can be read.
        """
        with _failing("facts"):
            self._transport.exec(ASK)
            said = self._transport.exec(f"_ask({idle!r}, {tuple(modules)!r})")
            try:
                return facts(json.loads(bytes(said).decode()))
            except (ValueError, AttributeError) as problem:
                raise CopyError(f"facts: {problem}") from None

    def switch(self, folder: str, trial: bool) -> None:
        """Make a folder the one that runs at the next start, for good or on trial."""
        with _failing(FAILED):
            if self._transport.fs_exists(FAILED):
                self._transport.fs_rmfile(FAILED)
        self.replace(TRIAL if trial else POINTER, folder.encode())

    def reset(self) -> None:
        """Reset the chip; what is sent from now on the program would take for a line."""
        with _failing("reset"):
            self._at_prompt = False
            self._transport.exec_raw_no_follow("import machine\nmachine.reset()")


def _folders(files: Mapping[str, bytes]) -> set[str]:
    found = set()
    for name in files:
        parts = name.split("/")[:-1]
        found |= {"/".join(parts[: n + 1]) for n in range(len(parts))}
    return found
