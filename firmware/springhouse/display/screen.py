"""Eight rows of sixteen characters on an SSD1306 of 128 x 64 points.

Only rows that changed are sent, one a step: 12 ms at 100 kHz, which no scan feels. A display that
is absent, unplugged or holds its bus raises; a bus that is held costs 50 ms (the time limit of both
ports' I2C, from memory). Then it is left alone for a minute and begun afresh. Nothing waits for it.
"""

import asyncio

from springhouse.display.rows import COLUMNS, ROWS
from springhouse.display.ssd1306.driver import SET_COL_ADDR, SET_PAGE_ADDR, SSD1306_I2C

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.display.ssd1306.driver import Bus
    from springhouse.kinds import MakeRows

STEP_MS = 200
_CELL = 8  # points a character, across and down
_PAUSE_MS = 60_000
_MARK = "."  # turns over each round: a picture whose mark stands still is an old one


class Picture(SSD1306_I2C):
    """The part's driver, made to send a row of text at a time."""

    def show(self) -> None:
        """Nothing: the constructor would send the whole picture."""

    def put(self, row: int, text: str) -> None:
        """Draw a row and send it."""
        self.fill_rect(0, row * _CELL, self.width, _CELL, 0)
        self.text(text, 0, row * _CELL)
        for command in (SET_COL_ADDR, 0, self.width - 1, SET_PAGE_ADDR, row, row):
            self.write_cmd(command)
        self.write_data(memoryview(self.buffer)[row * self.width : (row + 1) * self.width])


class Screen:
    """Shows the rows that `make` gives, ASCII, each at most COLUMNS long."""

    def __init__(self, i2c: "Bus", make: "MakeRows") -> None:
        self._i2c = i2c
        self._make = make
        self._picture: Picture | None = None
        self._sent: list[str] = []
        self._wanted: list[str] = []
        self._mark = False
        self.failures = 0  # saturates

    def _take(self) -> None:
        """The next picture."""
        self._mark = not self._mark
        rows = self._make()[:ROWS]
        self._wanted = rows + [""] * (ROWS - len(rows))
        if self._mark:
            last = self._wanted[-1][: COLUMNS - 1]
            self._wanted[-1] = last + " " * (COLUMNS - 1 - len(last)) + _MARK

    def _step(self) -> None:
        if self._picture is None:
            self._picture = Picture(ROWS * _CELL * 2, ROWS * _CELL, self._i2c)
            self._sent = ["?"] * ROWS
            self._take()
        for row in range(ROWS):
            if self._wanted[row] != self._sent[row]:
                self._picture.put(row, self._wanted[row])
                self._sent[row] = self._wanted[row]
                return
        self._take()

    async def run(self) -> None:
        """Forever."""
        while True:
            wait_ms = STEP_MS
            try:
                self._step()
            except Exception:  # whatever it is, it is the display's and not the board's
                self._picture = None
                self.failures = min(self.failures + 1, 9999)
                wait_ms = _PAUSE_MS
            await asyncio.sleep_ms(wait_ms)
