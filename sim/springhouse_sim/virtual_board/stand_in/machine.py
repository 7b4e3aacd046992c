# mypy: ignore-errors
"""Stand-in for the board's `machine` module. Runs under MicroPython."""

import plant_wire

PWRON_RESET, HARD_RESET, WDT_RESET, DEEPSLEEP_RESET, SOFT_RESET = 1, 2, 3, 4, 5


def reset_cause():
    """Chips that reset through their watchdog block report that, asked for or not."""
    return plant_wire.S.cause


def unique_id():
    """Number of the chip."""
    return b"\xe6\x61\x64\x08\x43\x1f\x2a\x07"


def reset():
    """Reset the chip."""
    plant_wire.gone("R")


class _Words:
    """The chip's registers, those that are asked for."""

    def __getitem__(self, address):
        return plant_wire.S.words[address]


mem32 = _Words()


class Pin:
    """An input sees the plant, an output is reported to it."""

    IN, OUT, OPEN_DRAIN = 0, 1, 2
    PULL_UP, PULL_DOWN = 1, 2
    IRQ_FALLING, IRQ_RISING = 4, 8

    def __init__(self, number, mode=-1, pull=None, value=None):
        self.number = number
        self._out = mode == self.OUT
        if value is not None:
            plant_wire.drive(number, value)

    def value(self, level=None):
        """Read or drive."""
        if level is None:
            plant_wire.trouble("pin")
            return plant_wire.S.level.get(self.number, 1)
        plant_wire.trouble("drive")
        plant_wire.drive(self.number, 1 if level else 0)

    def irq(self, handler, trigger, hard=False):
        """Call back on falling edges."""
        pin = self
        plant_wire.S.irq[self.number] = lambda _number: handler(pin)


class PWM:
    """A duty instead of a level."""

    def __init__(self, pin, freq=0, duty_u16=0):
        self._pin = pin
        plant_wire.drive(pin.number, duty_u16)

    def duty_u16(self, duty):
        """Set the duty."""
        plant_wire.trouble("pwm")
        plant_wire.drive(self._pin.number, duty)


class ADC:
    """Reads what the plant says, 0 until it said something."""

    def __init__(self, pin):
        self._number = pin.number

    def read_u16(self):
        """One sample."""
        plant_wire.trouble("adc")
        return plant_wire.S.adc.get(self._number, 0)


class I2C:
    """Answers reads with the hex the plant gave for the address; else nobody is there.

    Bytes take their time on the bus, and one that a chip holds costs the port's time limit.
    """

    _LIMIT_MS = 50

    def __init__(self, _id, sda, scl, freq):
        self._freq = freq

    def _answer(self, address):
        plant_wire.trouble("i2c")
        text = plant_wire.S.i2c.get(address, "-")
        if text == "-":
            raise OSError(5)
        if text == "held":
            plant_wire.advance(self._LIMIT_MS)
            raise OSError(110)
        return bytes.fromhex(text)

    def writevto(self, address, pieces):
        """Write pieces one after the other."""
        self._answer(address)
        plant_wire.advance(9000 * sum(len(piece) for piece in pieces) // self._freq)

    def writeto(self, address, _data):
        """Write."""
        self._answer(address)

    def readfrom_into(self, address, buffer):
        """Read an answer."""
        answer = self._answer(address)
        for i in range(len(buffer)):
            buffer[i] = answer[i] if i < len(answer) else 0xFF

    def readfrom_mem_into(self, address, register, buffer):
        """Read registers."""
        answer = self._answer(address)
        for i in range(len(buffer)):
            buffer[i] = answer[register + i]

    def writeto_mem(self, address, register, data):
        """Write registers."""
        kept = bytearray(self._answer(address))
        kept[register : register + len(data)] = data
        plant_wire.S.i2c[address] = bytes(kept).hex()


class WDT:
    """Cannot be stopped; resets the process for real."""

    def __init__(self, timeout):
        plant_wire.S.watch_ms = timeout
        plant_wire.S.fed = plant_wire.S.now

    def feed(self):
        """Hold off the reset."""
        plant_wire.S.fed = plant_wire.S.now


class Counter:
    """Hardware edge counter."""

    FALLING = 2

    def __init__(self, _unit, pin, edge):
        self._count = 0
        plant_wire.S.irq[pin.number] = self._edge

    def _edge(self, _number):
        self._count += 1

    def value(self):
        """Edges so far."""
        return self._count
