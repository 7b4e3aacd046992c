"""A virtual board on a bench: fixed temperatures, flow that follows the pump, all loops closed.

It runs the built image, bytecode and all, not the sources.
"""

import json
from pathlib import Path

import built
from springhouse import fitted, setting
from springhouse.boards import pico_w
from springhouse.record import Record
from springhouse_host.flashing.build import BOARDS
from springhouse_sim.virtual_board.chip import PICO_W, Chip
from springhouse_sim.virtual_board.flash_folder import make_flash
from springhouse_sim.virtual_board.inputs import scratchpad, serial
from springhouse_sim.virtual_board.process import BoardProcess, Reset

ROLES = ("store_low", "store_high", "room", "coil_in", "coil_air")
FITTED = (
    fitted.STORE_LOW
    | fitted.STORE_HIGH
    | fitted.ROOM
    | fitted.TRAY
    | fitted.LEVEL
    | fitted.FLOOR
    | fitted.FLOW
    | fitted.MAINS
)
LOOPS = (pico_w.TRAY, pico_w.LEVEL, pico_w.FLOOR, pico_w.MAINS, pico_w.RELAY_CONTACT)
PULSES_L = 450
WIRING = {
    "board": "pico_w",
    "probes": {role: serial(n + 1).hex() for n, role in enumerate(ROLES[:3])},
    "flow_pulses_l": PULSES_L,
    "report_s": 1,
}


def record() -> Record:
    """Settings for the rig: everything fitted, short waits."""
    made = Record()
    made.settings[setting.FITTED] = FITTED
    made.settings[setting.MIN_OFF_S] = 300
    made.fault = ""
    return made


class Rig:
    """Drives a `BoardProcess` second by second."""

    def __init__(
        self,
        folder: Path,
        *,
        body: bytes | None = None,
        heap_kib: int = 176,
        chip: Chip = PICO_W,
        **wiring: object,
    ) -> None:
        self.folder = folder
        board = str(wiring.get("board", WIRING["board"]))
        self.heap_kib = heap_kib
        self.chip = chip
        make_flash(
            folder,
            {**WIRING, **wiring},
            record().encode() if body is None else body,
            built.folder(board if board in BOARDS else "pico_w"),
        )
        self.temperatures = {"store_low": 12.0, "store_high": 12.3, "room": 27.0}
        self.flows = True
        self.board: BoardProcess | None = None
        self.resets: list[Reset] = []
        self.history: list[tuple[int, int, int]] = []

    def edit(self, file: str, *changes: str) -> None:
        """Change places of one file of the firmware on the flash: old, new, old, new, ..."""
        name = file.removesuffix(".py") + ".mpy"
        (self.folder / "springhouse" / name).write_bytes(built.edited(file, *changes))
        (self.folder / "manifest.json").unlink(
            missing_ok=True
        )  # else the board sees that it is not its code

    def power(self, tick: int = 0) -> "Rig":
        """Switch on."""
        self.board = BoardProcess(self.folder, tick=tick, heap_kib=self.heap_kib, chip=self.chip)
        for pin in LOOPS:
            self.board.inputs.level(pin, 0)
        self.set_probes()
        return self

    def set_probes(self) -> None:
        for role, celsius in self.temperatures.items():
            self.board.inputs.pad(serial(ROLES.index(role) + 1), scratchpad(celsius))

    def run(self, seconds: int) -> "Rig":
        """Let so many seconds pass."""
        board = self.board
        for _ in range(seconds):
            flowing = self.flows and board.outputs.get(pico_w.PUMP, 0) > 0
            board.inputs.pulses(pico_w.FLOW, PULSES_L * 1.2 / 60 if flowing else 0)
            self.resets += board.run_slice(1000)
            self.history += board.changes
        return self

    def out(self, pin: int) -> int:
        return self.board.outputs.get(pin, 0)

    def motors(self) -> tuple[int, int, int]:
        return self.out(pico_w.RELAY), self.out(pico_w.PUMP), self.out(pico_w.FAN)

    def records(self) -> list[dict]:
        """JSON lines of the console so far; anything else fails the test."""
        return [json.loads(line) for line in list(self.board.lines) if line]

    def last(self) -> dict:
        return next(r for r in reversed(self.records()) if "out" in r)

    def off_since(self, pin: int) -> int:
        """World time in ms of the latest change of a pin to 0."""
        return max(at for at, changed, value in self.history if changed == pin and value == 0)

    def close(self) -> None:
        self.board.close()
