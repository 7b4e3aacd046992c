"""What the network may do: `network.json`, a file of its own since it holds passwords in clear.

Addresses are numbers: a name would have to be looked up, and a look-up may hang.
"""

import json

_NUMBERS = {  # key: (lowest, highest, default)
    "page_port": (0, 65535, 80),  # 0: no page
    "broker_port": (1, 65535, 1883),
    "every_s": (10, 3600, 60),  # a record to the broker
}
_TEXTS = {  # key: (longest, default); plain ASCII
    "ssid": (32, ""),
    "password": (63, ""),
    "country": (2, ""),
    "broker": (15, ""),
    "broker_user": (64, ""),
    "broker_password": (64, ""),
    "topic": (64, "springhouse"),
}
_PASSWORD_LEAST = 8  # of WPA2 and WPA3 personal; none at all is an open network


def numeric(address: str) -> bool:
    """Whether it is an IPv4 address of one host in numbers."""
    parts = address.split(".")
    if len(parts) != 4:
        return False
    for part in parts:
        if not part.isdigit() or len(part) > 3 or int(part) > 255:
            return False
        if len(part) > 1 and part[0] == "0":  # some readers take that for base 8
            return False
    return 1 <= int(parts[0]) < 224  # from there on: groups and reserved


class Config:
    """The file's values; `fault` says in words what is wrong with it, "" if nothing is."""

    def __init__(self, text: str) -> None:
        self.number = {key: bound[2] for key, bound in _NUMBERS.items()}
        self.text = {key: bound[1] for key, bound in _TEXTS.items()}
        self.fault = self._take(text) or self._cross()

    def _take(self, text: str) -> str:
        try:
            given = json.loads(text)
        except ValueError:
            return "network.json is not JSON"
        if not isinstance(given, dict):
            return "network.json is no table"
        for key, value in given.items():
            if key in _NUMBERS:
                fault = self._take_number(key, value)
            elif key in _TEXTS:
                fault = self._take_text(key, value)
            else:
                fault = "unknown key " + str(key)
            if fault:
                return fault
        return ""

    def _take_number(self, key: str, value: object) -> str:
        low, high, _default = _NUMBERS[key]
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            return key + ": whole number " + str(low) + ".." + str(high)
        self.number[key] = value
        return ""

    def _take_text(self, key: str, value: object) -> str:
        most = _TEXTS[key][0]
        if not isinstance(value, str) or len(value) > most:
            return key + ": text of at most " + str(most) + " characters"
        if not all([32 <= ord(c) < 127 for c in value]):
            return key + ": plain ASCII only"
        self.text[key] = value
        return ""

    def _cross(self) -> str:
        text = self.text
        if not text["ssid"]:
            return "ssid: missing: the name of the Wi-Fi network"
        if text["password"] and len(text["password"]) < _PASSWORD_LEAST:
            return "password: 8..63 characters, or none for an open network"
        country = text["country"]
        if country and not (len(country) == 2 and country.isalpha() and country.isupper()):
            return "country: two capital letters, which decide the channels"
        if text["broker"] and not numeric(text["broker"]):
            return "broker: an address in numbers, e.g. 192.168.1.10: names are not looked up"
        if text["broker_password"] and not text["broker_user"]:
            return "broker_password: without broker_user"
        topic = text["topic"]
        if not topic or topic[0] == "$" or "+" in topic or "#" in topic:
            return "topic: a name without + and # that does not begin with $"
        return ""
