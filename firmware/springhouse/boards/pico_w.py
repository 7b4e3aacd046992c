"""Raspberry Pi Pico W (RP2040). GPIO numbers; 23-25 and 29 belong to the radio."""

NAME = "pico_w"

# Outputs. Each wants an outside pull-down of 8 kOhm or less, so that a reset means off.
RELAY = 16
PUMP = 17
FAN = 18
SOUNDER = 19
LIGHT = 20
OUTPUTS = (RELAY, PUMP, FAN, SOUNDER, LIGHT)

# Inputs. Loops close to ground through an NC contact, with outside pull-ups.
PROBES = 2
FLOW = 3
TACH = 6
TRAY = 7
LEVEL = 8
FLOOR = 9
MAINS = 10
BUTTON = 11
BUTTON_UP = 12
BUTTON_DOWN = 13
RELAY_CONTACT = 14
BATTERY = 26
I2C_ID = 0
I2C_SDA = 4
I2C_SCL = 5

RELAY_PULSED = False  # True: relay driver behind a capacitor, driven by alternating pulses
PULSE_COUNTER = False  # edges are counted in an interrupt
ADC_FULL_MV = 3300
PUMP_HZ = 1000
FAN_HZ = 25000
WATCHDOG_MS = 8000  # RP2040: 8388 at most

# Two registers that tell more of a reset than machine.reset_cause() does, see cause.py: the
# watchdog's REASON and the chip's own; in the latter the bits for reset pin and brown-out (0: this
# chip counts it as power-on).
# Both blocks' addresses and REASON with its two bits are those of the emulator rp2040js 1.4.1; the
# chip's own register in its block and its bits are from memory of the datasheet.
RESET = (0x40058008, 0x40064008, 1 << 16, 0)
