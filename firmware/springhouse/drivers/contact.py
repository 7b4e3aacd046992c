"""Two-valued inputs: NC floats, floor-wet loop, mains sense, each debounced.

A closed loop is the healthy position and a broken wire reads as trouble. Samples are 200 ms
apart, wider than any contact bounce or switching burst: one burst spoils at most one sample.
Trip on 2 bad of the last 3 (at most 0.4 s), clear on 5 good of the last 7 (1 to 1.4 s).
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import InputPin

SAMPLE_MS = 200
WINDOW = 7  # samples that are remembered


def _ones(word: int) -> int:
    n = 0
    while word:
        n += word & 1
        word >>= 1
    return n


class Contact:
    """One input; `ok` is 1 in the healthy position. Starts in trouble until proven healthy."""

    def __init__(self, pin: "InputPin", healthy_level: int) -> None:
        self._pin = pin
        self._healthy = healthy_level
        self._bad = 0x7F  # the last seven samples, newest in bit 0, 1 = bad
        self.ok = 0

    def sample(self) -> int:
        """Take a sample and return `ok`."""
        self._bad = self._bad << 1 & 0x7F | (self._pin.value() != self._healthy)
        if _ones(self._bad & 7) >= 2:
            self.ok = 0
        elif _ones(self._bad) <= 2:
            self.ok = 1
        return self.ok


class Button:
    """Acknowledge button: held for two samples is a press, `long` is a hold of five seconds."""

    LONG = 25

    def __init__(self, pin: "InputPin", pressed_level: int) -> None:
        self._pin = pin
        self._pressed = pressed_level
        self._held = self.LONG + 1  # a button that is down at power-up is no press
        self.presses = 0
        self.long_presses = 0

    def down(self) -> bool:
        """Whether it is pressed at this moment, undebounced."""
        return bool(self._pin.value() == self._pressed)

    def sample(self) -> None:
        """Take a sample; count presses."""
        if not self.down():
            self._held = 0
            return
        if self._held > self.LONG:
            return
        self._held += 1
        if self._held == 2:
            self.presses = (self.presses + 1) & 0xFFFF
        elif self._held == self.LONG:
            self.long_presses = (self.long_presses + 1) & 0xFFFF
