"""A made-up board: records as the firmware's report.py writes them, one second each."""

import io
import json
from collections.abc import Callable, Iterator

from springhouse import condition, latch, mode, output

BITS = {
    mode.PURGE: output.PUMP,
    mode.COOL_NOW: output.PUMP | output.FAN,
    mode.CHARGE_NOW: output.COMPRESSOR,
}
HEALTHY = 0b11111
Change = Callable[["MadeUp"], None]


class MadeUp:
    """Writes records as the firmware's report.py does; what it does is set by the test."""

    def __init__(self) -> None:
        self.up = 100
        self.mode = mode.AUTOMATIC
        self.inputs = HEALTHY
        self.mc = [12000, 12250, 26000, 0, 0]
        self.bad = [0, 0, 0, 1, 1]
        self.lat = 0
        self.stuck_out = 0  # outputs that no mode takes away
        self.dead = 0
        self.dry = False
        self.flow = 1200
        self.commands: list[dict] = []
        self.each_second: Change = lambda board: None
        self._answer: dict | None = None

    @property
    def lock(self) -> int:
        word = 0 if self.inputs & 2 else condition.LOCK_TRAY
        word |= 0 if self.inputs & 1 else condition.LOCK_MAINS
        word |= condition.LOCK_DRY if self.dry else 0
        return word | (condition.LOCK_STORE | condition.LOCK_ROOM if self.lat & latch.FLOOD else 0)

    @property
    def out(self) -> int:
        out = BITS.get(self.mode, 0) & ~self.dead | self.stuck_out
        return out | (output.ALARM if self.lat else 0)

    def send(self, command: dict) -> None:
        self.commands.append(command)
        self._answer = {"done": command["cmd"]}
        if command["cmd"] == "mode":
            self.mode = command["mode"]
        elif self.inputs & 12 == 12:
            self.lat = 0

    def wait(self, wanted: Callable[[dict], bool], _timeout_s: float) -> dict | None:
        if self._answer is not None:
            answer, self._answer = self._answer, None
            assert wanted(answer)
            return answer
        self.up += 1
        self.each_second(self)
        self.lat |= 0 if self.inputs & 4 else latch.LEVEL
        self.lat |= 0 if self.inputs & 8 else latch.FLOOR
        message = json.loads(self.line())
        return message if wanted(message) else None

    def line(self) -> str:
        flow = self.flow if self.out & output.PUMP else 0
        state = {
            "up": self.up, "utc": -1, "st": [0, 0], "out": self.out, "mc": self.mc,
            "bad": self.bad, "ml": flow, "mv": 12800, "in": self.inputs,
            "w": [0, 0, self.lock], "lat": self.lat, "md": [self.mode, 0],
        }  # fmt: skip
        return json.dumps(state)


class Hands(io.StringIO):
    """Types answers; one that is a function is a deed, done before Enter is pressed."""

    def __init__(self, board: MadeUp, *answers: str | Change) -> None:
        super().__init__()
        self._board = board
        self._answers: Iterator[str | Change] = iter(answers)

    def readline(self, _limit: int = -1, /) -> str:
        answer = next(self._answers, None)
        if callable(answer):
            answer(self._board)
            return "\n"
        return "" if answer is None else f"{answer}\n"
