"""What is wired to the board: `wiring.json`, written by the host and covered by its manifest."""

import json

from springhouse.drivers import crc8

PROBE_ROLES = ("store_low", "store_high", "room", "coil_in", "coil_air")  # order of reading.py
AIR_CHIPS = ("sht4x", "aht20")

# key: (lowest, highest, default); 0 stands for "not fitted" where it is the default
_NUMBERS = {
    "flow_pulses_l": (0, 10000, 0),
    "fan_pulses_rev": (0, 12, 0),
    "battery_ratio_pm": (0, 25000, 0),
    "pump_pm": (300, 1000, 1000),
    "report_s": (1, 3600, 1),
    "probe_s": (1, 3, 2),  # more often warms the probes, less often loses trust too easily
    "target_buttons": (0, 1, 0),  # 1: two more buttons move the room target
    "standard_offset_min": (-720, 840, 0),
    "ice_point_day": (0, 65535, 0),  # days since 1970 when the probes were last checked, 0 unknown
}
_CHOICES = {
    "board": ("pico_w", "pico_2w", "esp32"),
    "air": ("",) + AIR_CHIPS,
    "rtc": ("", "ds3231"),
    "display": ("", "ssd1306"),
    "tariff_clock": ("local", "standard"),
}
_OFFSETS_MOST = 9  # the offset in force and the next eight changes
_SERIAL_ZERO = bytes(8)


class Wiring:
    """The file's values; `fault` says in words what is wrong with it, "" if nothing is."""

    def __init__(self, text: str) -> None:
        self.number = {key: bound[2] for key, bound in _NUMBERS.items()}
        self.choice = {key: allowed[0] for key, allowed in _CHOICES.items()}
        self.serials: list[bytes | None] = [None] * len(PROBE_ROLES)
        self.room_from_air = False
        self.offsets: list[list[int]] = []
        self.fault = self._take(text)

    def _take(self, text: str) -> str:
        try:
            given = json.loads(text)
        except ValueError:
            return "wiring.json is not JSON"
        if not isinstance(given, dict):
            return "wiring.json is no table"
        fault = ""
        for key, value in given.items():
            if key in _NUMBERS:
                fault = self._take_number(key, value)
            elif key in _CHOICES:
                fault = self._take_choice(key, value)
            elif key == "probes":
                fault = self._take_probes(value)
            elif key == "offsets":
                fault = self._take_offsets(value)
            else:
                fault = "unknown key " + str(key)
            if fault:
                return fault
        if self.room_from_air and not self.choice["air"]:
            return "room: the air chip is not named"
        return ""

    def _take_number(self, key: str, value: object) -> str:
        low, high, _default = _NUMBERS[key]
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            return key + ": whole number " + str(low) + ".." + str(high)
        self.number[key] = value
        return ""

    def _take_choice(self, key: str, value: object) -> str:
        if value not in _CHOICES[key]:
            return key + ": one of " + str(_CHOICES[key])
        self.choice[key] = str(value)
        return ""

    def _take_probes(self, given: object) -> str:
        if not isinstance(given, dict):
            return "probes: a table of role to serial number"
        for key, text in given.items():
            role = str(key)
            if role not in PROBE_ROLES:
                return "probes: unknown role " + role
            if role == "room" and text == "air":
                self.room_from_air = True
                continue
            try:
                serial = bytes.fromhex(text)
            except (ValueError, TypeError):
                serial = b""
            if len(serial) != 8 or serial == _SERIAL_ZERO or crc8.onewire(serial, 8) != 0:
                return role + ": not a serial number (16 hex digits, last two the checksum)"
            if serial in self.serials:
                return role + ": serial number used twice"
            self.serials[PROBE_ROLES.index(role)] = serial
        return ""

    def _take_offsets(self, given: object) -> str:
        text = "offsets: up to 9 pairs [UTC minute, minutes east], ascending"
        if not isinstance(given, list) or len(given) > _OFFSETS_MOST:
            return text
        before = -1
        for pair in given:
            if not isinstance(pair, list) or len(pair) != 2:
                return text
            since, east = pair
            if not isinstance(since, int) or not isinstance(east, int):
                return text
            if not before < since < 1 << 29 or not -720 <= east <= 840:
                return text
            before = since
        self.offsets = given
        return ""
