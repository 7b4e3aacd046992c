"""Outputs: freezer relay, pump, fans, sounder. Only the control task writes them.

`off` allocates nothing, so that it can run in an exception handler with a full heap.
"""

from springhouse import output, timekeeping

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import OutputPin, Pwm, Relay


def duty(per_mille: int) -> int:
    """16-bit duty of a per-mille level."""
    return per_mille * 65535 // 1000


class LevelRelay:
    """A relay behind a plain level."""

    def __init__(self, pin: "OutputPin") -> None:
        self._pin = pin

    def set(self, on: int) -> None:
        """Drive the level."""
        self._pin.value(on)

    def beat(self, now: int) -> None:
        """Nothing to keep alive."""

    def take_drop(self) -> bool:
        """A level stays as it was driven."""
        return False


class PulsedRelay:
    """A relay behind a capacitor: it holds only while the pin alternates.

    `beat` turns the pin over, and only `WORTH` times for each `set(1)`: a program that stops, or
    a control task that stops while the beating goes on, lets the relay drop. Once it has dropped
    it stays so until the controller was told (`take_drop`): a compressor that is closed again
    after a second starts against its own pressure.
    """

    WORTH = 100  # two seconds of beats 20 ms apart
    BEAT_MS = 20
    DROP_MS = 300  # a longer pause may let it drop: 1 uF on 470 kOhm, from 2.6 V to 1.3 V

    def __init__(self, pin: "OutputPin") -> None:
        self._pin = pin
        self._left = 0
        self._level = 0
        self._at = -1  # tick of the latest half wave, -1 = none since it was switched on
        self._dropped = False

    def set(self, on: int) -> None:
        """Allow so many more beats, or stop at once."""
        if on and not self._dropped:
            self._left = self.WORTH
            return
        self._left = 0
        if not on:
            self._at = -1
            self._level = 0
            self._pin.value(0)

    def beat(self, now: int) -> None:
        """Next half wave, unless it comes too late or nobody ordered it."""
        if self._at >= 0 and (
            not self._left or timekeeping.ticks_diff(now, self._at) > self.DROP_MS
        ):
            self._dropped = True
            self.set(0)
        elif self._left > 0:
            self._left -= 1
            self._at = now
            self._level ^= 1
            self._pin.value(self._level)

    def take_drop(self) -> bool:
        """Whether the relay dropped by itself since this was last asked."""
        dropped, self._dropped = self._dropped, False
        return dropped


class Outputs:
    """All of them; `write` takes the controller's bits, `off` drops everything."""

    def __init__(self, relay: "Relay", pump: "Pwm", fan: "Pwm", sounder: "OutputPin") -> None:
        """`relay` has set/beat, `pump` and `fan` are PWM objects, `sounder` a pin."""
        self.relay = relay
        self._pump = pump
        self._fan = fan
        self._sounder = sounder
        self.bits = 0
        self.muted = False

    def write(self, bits: int, pump_pm: int, quiet_pm: int, full_pm: int) -> None:
        """Drive the outputs; the sounder follows ALARM in half-second beeps through `beep`."""
        self.bits = bits
        self.relay.set(1 if bits & output.COMPRESSOR else 0)
        self._pump.duty_u16(duty(pump_pm) if bits & output.PUMP else 0)
        fan_pm = full_pm if bits & output.FAN_FULL else quiet_pm
        self._fan.duty_u16(duty(fan_pm) if bits & output.FAN else 0)
        if not bits & output.ALARM:
            self.muted = False
            self._sounder.value(0)

    def beep(self, phase: int) -> None:
        """Sounder: on for 0.4 s of each 2 s while the alarm stands and no press has muted it."""
        sounding = self.bits & output.ALARM and not self.muted and phase % 10 < 2
        self._sounder.value(1 if sounding else 0)

    def off(self) -> None:
        """Everything off, without allocating."""
        self.bits = 0
        self.relay.set(0)
        self._pump.duty_u16(0)
        self._fan.duty_u16(0)
        self._sounder.value(0)
