"""Shapes of the objects handed to the drivers, for the type checker only: not on the board."""

from collections.abc import Callable
from typing import IO, Any, Protocol

Ticks = Callable[[], int]
Feed = Callable[[int], None]
File = IO[Any]
Command = dict[str, Any]
Identity = Callable[[], dict[str, object]]
MakeText = Callable[[], str]
MakeRows = Callable[[], list[str]]
MakeParts = Callable[[], list[str]]
Answers = dict[bytes, tuple[str, MakeParts]]  # path: content type, what makes the body

class InputPin(Protocol):
    def value(self) -> int: ...

class OutputPin(Protocol):
    def value(self, level: int, /) -> object: ...

class EdgePin(Protocol):
    @property
    def IRQ_FALLING(self) -> int: ...
    def irq(self, *, handler: Callable[[object], None], trigger: int, hard: bool) -> object: ...

class Pwm(Protocol):
    def duty_u16(self, duty: int, /) -> object: ...

class Adc(Protocol):
    def read_u16(self) -> int: ...

class I2c(Protocol):
    def writeto(self, address: int, data: bytes, /) -> object: ...
    def readfrom_into(self, address: int, buffer: bytearray, /) -> object: ...
    def readfrom_mem_into(self, address: int, register: int, buffer: bytearray, /) -> object: ...
    def writeto_mem(self, address: int, register: int, data: bytes | bytearray, /) -> object: ...

class OneWireBus(Protocol):
    def reset(self) -> bool: ...
    def writebyte(self, value: int, /) -> None: ...
    def write(self, buf: bytes, /) -> None: ...
    def readinto(self, buf: bytearray, /) -> None: ...

class HardwareCounter(Protocol):
    def value(self) -> int: ...

class Edges(Protocol):
    def take(self) -> int: ...

class Relay(Protocol):
    def set(self, on: int) -> None: ...
    def beat(self, now: int) -> None: ...
    def take_drop(self) -> bool: ...

class AirChip(Protocol):
    mc: int
    rh_cpc: int
    fault_code: int
    at_ms: int
    async def measure(self, ticks_ms: Ticks) -> None: ...

class Watchdog(Protocol):
    def feed(self) -> object: ...

class Profile(Protocol):
    """What a file in `boards` holds."""

    NAME: str
    RELAY: int
    PUMP: int
    FAN: int
    SOUNDER: int
    LIGHT: int
    OUTPUTS: tuple[int, ...]
    PROBES: int
    FLOW: int
    TACH: int
    TRAY: int
    LEVEL: int
    FLOOR: int
    MAINS: int
    RELAY_CONTACT: int
    BUTTON: int
    BUTTON_UP: int
    BUTTON_DOWN: int
    BATTERY: int
    I2C_ID: int
    I2C_SDA: int
    I2C_SCL: int
    RELAY_PULSED: bool
    PULSE_COUNTER: bool
    ADC_FULL_MV: int
    PUMP_HZ: int
    FAN_HZ: int
    WATCHDOG_MS: int
    RESET: tuple[int, ...]
