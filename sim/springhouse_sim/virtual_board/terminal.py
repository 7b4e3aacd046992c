"""A virtual board behind a pseudo-terminal, as a serial tool sees a real one on USB.

The tool opens `port`. Bytes are carried between it and the board's own terminal; what nobody
reads is dropped, as USB does. The board lives in a thread at a fixed multiple of real time.
"""

import os
import pty
import select
import time
import tty
from collections.abc import Callable
from pathlib import Path
from threading import Event, Thread

from .chip import PICO_W, Chip
from .process import BoardProcess

STEP_MS = 200
CTRL_C = b"\x03"


def _terminal() -> tuple[int, int]:
    """Return (our end, the other end) of a raw terminal."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    os.set_blocking(ours, False)
    return ours, theirs


class TerminalBoard:
    """A running board with a port.

    Args:
        flash: its flash folder.
        speed: virtual seconds a real second.
        before: called with the process before each step, to set inputs.
        on_bytes: sees each chunk on its way to the board and returns what may pass; raising
            nothing, it can cut, change or swallow a transfer.
    """

    def __init__(
        self,
        flash: Path,
        *,
        speed: float = 20.0,
        before: Callable[[BoardProcess], None] = lambda _process: None,
        on_bytes: Callable[[bytes], bytes] = lambda data: data,
        chip: Chip = PICO_W,
        heap_kib: int = 176,
    ) -> None:
        self._board_end, board_terminal = _terminal()
        self._tool_end, tool_terminal = _terminal()
        self.port = os.ttyname(tool_terminal)
        self._keep = (board_terminal, tool_terminal)
        self._pause_s = STEP_MS / 1000 / speed
        self._before = before
        self._on_bytes = on_bytes
        self._ended = Event()
        self.process = BoardProcess(flash, terminal=board_terminal, chip=chip, heap_kib=heap_kib)
        self._threads = [Thread(target=run, daemon=True) for run in (self._live, self._carry)]
        for thread in self._threads:
            thread.start()

    def _live(self) -> None:
        try:
            while not self._ended.is_set():
                self._before(self.process)
                self.process.run_slice(STEP_MS)
                time.sleep(self._pause_s)
        except (RuntimeError, OSError, ValueError):
            return  # switched off while the board was answering

    def _carry(self) -> None:
        pairs = {self._board_end: self._tool_end, self._tool_end: self._board_end}
        while not self._ended.is_set():
            ready, _, _ = select.select(list(pairs), [], [], 0.1)
            for source in ready:
                try:
                    data = os.read(source, 1024)
                    if source == self._tool_end:
                        data = self._interrupts(self._on_bytes(data))
                    self._pass(data, pairs[source], wait=source == self._tool_end)
                except OSError:
                    continue  # nobody at that end, or it does not read

    def _interrupts(self, data: bytes) -> bytes:
        """Take out a Ctrl-C that is for the program; the prompt reads its own."""
        if CTRL_C not in data or self.process.at_prompt:
            return data
        self.process.interrupt()
        return data.replace(CTRL_C, b"")

    def _pass(self, data: bytes, target: int, wait: bool) -> None:
        while data and not self._ended.is_set():
            try:
                data = data[os.write(target, data) :]
            except BlockingIOError:
                if not wait:
                    return
                time.sleep(0.001)

    def close(self) -> None:
        """Switch off."""
        self._ended.set()
        self.process.process.kill()
        for thread in self._threads:
            thread.join(5)
        self.process.close()
        for end in (self._board_end, self._tool_end, *self._keep):
            os.close(end)
