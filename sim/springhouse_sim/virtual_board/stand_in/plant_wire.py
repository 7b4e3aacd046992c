# mypy: ignore-errors
"""The board's end of the pipe to the plant, and the virtual time that comes over it.

Runs under MicroPython. Time moves only here: whoever waits calls `advance`. At each slice end the
board reports what it drives and receives what its pins see until the next one. Lines are
space-separated words; the host's side is `process.py`.
"""

import sys

_WRAP = (1 << 30) - 1


class _State:
    def __init__(self):
        self.now = 0  # ms since this boot
        self.slice_end = 0
        self.base = 0  # tick at boot
        self.rx = None
        self.tx = None
        self.level = {}  # input pin -> level
        self.driven = {}  # output pin -> level or duty
        self.irq = {}  # pin -> handler of falling edges
        self.rate_mhz = {}  # pin -> pulses, millihertz
        self.phase = {}
        self.adc = {}
        self.bus = "ok"
        self.words = {}  # address -> register
        self.frames = {}  # serial (hex) -> scratchpad (hex)
        self.i2c = {}  # address -> answer (hex)
        self.wifi = False  # the access point is in reach
        self.edges = []  # (ms, pin, level), ascending
        self.changed = []
        self.watch_ms = 0
        self.fed = 0
        self.trouble = {}  # place -> "hang" or the name of an exception
        self.interrupt_at = -1


S = _State()


def open_wire(rx, tx, base):
    """Connect to the host."""
    S.rx = open(rx, "rb")  # noqa: SIM115  # open for the life of the process
    S.tx = open(tx, "wb")  # noqa: SIM115
    S.base = base


def ticks():
    """Wrapped milliseconds."""
    return (S.base + S.now) & _WRAP


def _send(text):
    S.tx.write(text + "\n")


def gone(why):
    """The chip resets: tell the host, who kills this process. Nothing runs after this."""
    _send(f"{why} {S.now} {' '.join(S.changed)}")
    while True:
        S.rx.read(1)


def drive(pin, value):
    """An output pin changes."""
    if S.driven.get(pin) != value:
        S.driven[pin] = value
        S.changed.append(f"{pin}:{value}:{S.now}")


def _set_level(pin, level):
    before = S.level.get(pin, 1)
    S.level[pin] = level
    if before and not level and pin in S.irq:
        S.irq[pin](pin)


def _take(word):
    key, value = word.split("=")
    kind, name = key[0], key[1:]
    if kind == "p":  # p7=0, or p7=0@130: an edge in 130 ms
        if "@" in value:
            level, at = value.split("@")
            S.edges.append((S.now + int(at), int(name), int(level)))
        else:
            _set_level(int(name), int(value))
    elif kind == "f":
        S.rate_mhz[int(name)] = int(value)
    elif kind == "a":
        S.adc[int(name)] = int(value)
    elif kind == "s":
        S.frames[name] = value
    elif kind == "b":
        S.bus = value
    elif kind == "w":
        S.wifi = value == "1"
    elif kind == "i":
        S.i2c[int(name)] = value
    elif kind == "t":
        S.trouble[name] = value
    elif kind == "k":
        S.interrupt_at = S.now + int(value)


def _exchange():
    _send(f"T {S.now} {' '.join(S.changed)}")
    S.changed = []
    line = S.rx.readline()
    if not line:
        sys.exit(0)
    words = line.decode().split()
    S.slice_end = int(words[0])
    for word in words[1:]:
        _take(word)
    S.edges.sort()


def _pulses(ms):
    for pin, rate_mhz in S.rate_mhz.items():
        phase = S.phase.get(pin, 0) + rate_mhz * ms
        edges = phase // 1000000
        S.phase[pin] = phase - edges * 1000000
        handler = S.irq.get(pin)
        if handler:
            for _ in range(edges):
                handler(pin)


def advance(ms):
    """Let virtual time pass, slice by slice, with everything that happens meanwhile."""
    until = S.now + ms
    while True:
        if S.now >= S.slice_end:
            _exchange()
        step = min(until, S.slice_end)
        if S.edges and S.edges[0][0] < step:
            step = max(S.edges[0][0], S.now)
        if S.now < S.interrupt_at < step:
            step = S.interrupt_at
        if S.watch_ms and S.fed + S.watch_ms <= step:
            S.now = S.fed + S.watch_ms
            gone("W")
        _pulses(step - S.now)
        S.now = step
        while S.edges and S.edges[0][0] <= S.now:
            _at, pin, level = S.edges.pop(0)
            _set_level(pin, level)
        if 0 <= S.interrupt_at <= S.now:
            S.interrupt_at = -1
            raise KeyboardInterrupt
        if S.now >= until:
            return


def trouble(place):
    """Injected faults: hang here for ever, or raise."""
    what = S.trouble.pop(place, "") or S.trouble.pop("any", "")
    if what == "hang":
        while True:
            advance(60000)
    if what == "slow":
        advance(2600)
    elif what == "MemoryError":
        raise MemoryError
    elif what == "OSError":
        raise OSError(5)
    elif what == "RuntimeError":
        raise RuntimeError("injected at " + place)
    elif what == "KeyboardInterrupt":
        raise KeyboardInterrupt


def prompt():
    """The program has ended and the interpreter takes what is typed."""
    _send(f"P {S.now} {' '.join(S.changed)}")
    S.changed = []


def idle():
    """The program has ended: the interpreter waits, pins keep their last state."""
    while True:
        advance(60000)
