"""Battery voltage through a divider on the ADC."""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import Adc

_RAIL = 65000  # a reading at the rail is an open lower resistor, not a voltage


class Battery:
    """`mv` is 0 when the reading cannot be a voltage: a battery that is not seen counts as flat."""

    def __init__(self, adc: "Adc", full_mv: int, ratio_pm: int) -> None:
        """`full_mv` is the pin voltage of a full reading (at most 3300).

        `ratio_pm` is battery voltage over pin voltage, per mille (1000 ... 25000).
        """
        self._adc = adc
        self._full_mv = full_mv
        self._ratio_pm = ratio_pm
        self.mv = 0

    def update(self) -> int:
        """Middle of three samples, so that one spike moves nothing."""
        a = self._adc.read_u16()
        b = self._adc.read_u16()
        c = self._adc.read_u16()
        raw = max(min(a, b), min(max(a, b), c))
        if raw >= _RAIL:
            self.mv = 0
        else:
            self.mv = (raw * self._full_mv >> 16) * self._ratio_pm // 1000
        return self.mv
