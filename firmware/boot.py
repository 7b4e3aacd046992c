"""Every output pin off before anything else. A soft reset leaves pins as they were last driven."""

import sys

from machine import Pin

for number in (25, 26, 27, 33, 32) if sys.platform == "esp32" else (16, 17, 18, 19, 20):
    Pin(number, Pin.OUT, value=0)
