"""Small stand-ins for bus and pin objects handed to the drivers."""


class FakePin:
    """A pin whose level a test sets; remembers what was written."""

    IRQ_FALLING = 4

    def __init__(self, level: int = 0) -> None:
        self.level = level
        self.written: list[int] = []
        self.handler = None

    def value(self, level: int | None = None) -> int:
        if level is not None:
            self.level = level
            self.written.append(level)
        return self.level

    def irq(self, handler, trigger, hard) -> None:
        assert trigger == self.IRQ_FALLING
        assert hard
        self.handler = handler


class FakePwm:
    def __init__(self) -> None:
        self.duty = 0

    def duty_u16(self, duty: int) -> None:
        assert 0 <= duty <= 65535
        self.duty = duty


class FakeBus:
    """A 1-wire bus: answers MATCH ROM + READ SCRATCHPAD with the frame queued for that serial.

    Without a device at the serial the line stays high. `present` is what reset reports.
    """

    def __init__(self, frames: dict[bytes, list[bytes]]) -> None:
        self.frames = frames
        self.present = True
        self.log: list[bytes] = []
        self._sent = b""

    def reset(self) -> bool:
        self._sent = b""
        return self.present

    def writebyte(self, byte: int) -> None:
        self._sent += bytes([byte])
        self.log.append(self._sent)

    def write(self, data: bytes) -> None:
        self._sent += data

    def readinto(self, buffer: bytearray) -> None:
        assert (self._sent[0], self._sent[-1]) == (0x55, 0xBE), "read without match and command"
        queue = self.frames.get(self._sent[1:9])
        if not queue:
            buffer[:] = b"\xff" * len(buffer)
            return
        buffer[:] = queue.pop(0) if len(queue) > 1 else queue[0]


class FakeI2c:
    """Answers reads from a queue by address; an address without a queue raises OSError."""

    def __init__(self, answers: dict[int, list[bytes]]) -> None:
        self.answers = answers
        self.written: list[tuple[int, bytes]] = []
        self.registers: dict[int, bytearray] = {}

    def writeto(self, address: int, data: bytes) -> None:
        if address not in self.answers:
            raise OSError(5)
        self.written.append((address, bytes(data)))

    def readfrom_into(self, address: int, buffer: bytearray) -> None:
        if address not in self.answers:
            raise OSError(5)
        buffer[:] = self.answers[address].pop(0)

    def readfrom_mem_into(self, address: int, register: int, buffer: bytearray) -> None:
        if address not in self.registers:
            raise OSError(5)
        buffer[:] = self.registers[address][register : register + len(buffer)]

    def writeto_mem(self, address: int, register: int, data: bytes) -> None:
        if address not in self.registers:
            raise OSError(5)
        self.registers[address][register : register + len(data)] = data
