"""What is left in SI where US customary units were asked for."""

import re

# A figure or a bracketed axis in a unit that has a US word; power, energy, keys stay as they are.
SI = re.compile(r"(?:\d|\[)\s?(?:°C|K|L|L/min|m3/h|kg|W/K|kJ/K|m|mm|m2)(?![\w/°])(?! a litre)|°C")


def si_left(text: str) -> list[str]:
    """Each place of a text that still speaks SI, with the words around it."""
    return [text[max(0, m.start() - 40) : m.end() + 10] for m in SI.finditer(text)]
