"""Builds the drivers from a board profile and the wiring; nothing else knows pins by number."""

import machine

from springhouse.drivers import outputs
from springhouse.drivers.battery import Battery
from springhouse.drivers.contact import WINDOW, Button, Contact
from springhouse.drivers.light import Light
from springhouse.drivers.probe import ProbeBus
from springhouse.drivers.pulses import EdgeCount, Flow, HardwareCount, Tach

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.app import Wired
    from springhouse.kinds import AirChip, Edges, Profile


def _input(number: int) -> machine.Pin:
    return machine.Pin(number, machine.Pin.IN)


def _off(number: int) -> machine.Pin:
    return machine.Pin(number, machine.Pin.OUT, value=0)


def _count(profile: "Profile", number: int, unit: int) -> "Edges":
    if profile.PULSE_COUNTER:
        pin = _input(number)
        return HardwareCount(machine.Counter(unit, pin, edge=machine.Counter.FALLING))  # type: ignore[attr-defined,unused-ignore]
    return EdgeCount(_input(number))


def build_outputs(profile: "Profile") -> outputs.Outputs:
    """The outputs, all off; made before anything that can fail."""
    relay = outputs.PulsedRelay if profile.RELAY_PULSED else outputs.LevelRelay
    return outputs.Outputs(
        relay(_off(profile.RELAY)),
        machine.PWM(_off(profile.PUMP), freq=profile.PUMP_HZ, duty_u16=0),
        machine.PWM(_off(profile.FAN), freq=profile.FAN_HZ, duty_u16=0),
        _off(profile.SOUNDER),
    )


class Panel:
    """Light and buttons: needed even when nothing else can run."""

    def __init__(self, profile: "Profile", wiring: "Wired") -> None:
        self.light = Light(_off(profile.LIGHT))
        self.button = Button(_input(profile.BUTTON), 0)
        # Not looked at unless wired: an input that hangs in the air presses itself.
        self._target: tuple[Button, ...] = ()
        if wiring.number["target_buttons"]:
            up, down = _input(profile.BUTTON_UP), _input(profile.BUTTON_DOWN)
            self._target = (Button(up, 0), Button(down, 0))
        self._presses = 0

    def sample(self) -> None:
        """Look at the buttons; every 200 ms."""
        self.button.sample()
        for button in self._target:
            button.sample()

    def target_step(self) -> int:
        """1 or -1 if a press since the last call moves the room target, else 0."""
        if not self._target:
            return 0
        presses = self._target[0].presses - self._target[1].presses
        if presses == self._presses:
            return 0
        step = 1 if presses > self._presses else -1
        self._presses = presses
        return step


class Sensors:
    """All that is read. A part that the wiring does not name is None or never healthy."""

    def __init__(self, profile: "Profile", wiring: "Wired") -> None:
        self.room_from_air = wiring.room_from_air
        self.probes = None
        if any(wiring.serials):
            import onewire

            bus = onewire.OneWire(machine.Pin(profile.PROBES))
            self.probes = ProbeBus(bus, wiring.serials)
        # Floats and the floor loop are healthy while they pull the pin to ground.
        self.tray = Contact(_input(profile.TRAY), 0)
        self.level = Contact(_input(profile.LEVEL), 0)
        self.floor = Contact(_input(profile.FLOOR), 0)
        self.mains = Contact(_input(profile.MAINS), 0)
        self.relay = Contact(_input(profile.RELAY_CONTACT), 0)
        self.unsettled = WINDOW  # rounds until the contacts have seen nothing but real samples
        self.flow = None
        if wiring.number["flow_pulses_l"]:
            self.flow = Flow(_count(profile, profile.FLOW, 0), wiring.number["flow_pulses_l"])
        self.tach = None
        if wiring.number["fan_pulses_rev"]:
            self.tach = Tach(_count(profile, profile.TACH, 1), wiring.number["fan_pulses_rev"])
        self.battery = None
        if wiring.number["battery_ratio_pm"]:
            ratio_pm = wiring.number["battery_ratio_pm"]
            adc = machine.ADC(machine.Pin(profile.BATTERY))
            if hasattr(adc, "atten"):  # this chip reads 1 V at most unless told otherwise
                adc.atten(machine.ADC.ATTN_11DB)  # type: ignore[attr-defined,unused-ignore]
            self.battery = Battery(adc, profile.ADC_FULL_MV, ratio_pm)
        self.air: AirChip | None = None
        self.rtc = None
        self.i2c: machine.I2C | None = None
        if wiring.choice["air"] or wiring.choice["rtc"] or wiring.choice["display"]:
            sda, scl = machine.Pin(profile.I2C_SDA), machine.Pin(profile.I2C_SCL)
            i2c = machine.I2C(profile.I2C_ID, sda=sda, scl=scl, freq=100000)
            self.i2c = i2c
            # Drivers few boards need are imported only then: they cost RAM.
            if wiring.choice["air"]:
                from springhouse.drivers import humidity

                chip = humidity.Sht4x if wiring.choice["air"] == "sht4x" else humidity.Aht20
                self.air = chip(i2c)
            if wiring.choice["rtc"]:
                from springhouse.drivers.rtc import Ds3231

                self.rtc = Ds3231(i2c)

    def sample_contacts(self) -> None:
        """Look at the two-valued inputs; every 200 ms."""
        self.tray.sample()
        self.level.sample()
        self.floor.sample()
        self.mains.sample()
        self.relay.sample()
        if self.unsettled:
            self.unsettled -= 1
