"""ESP32 (classic). GPIO numbers; strapping pins 0, 2, 5, 12, 15 and flash pins 6-11 stay free."""

NAME = "esp32"

# Outputs. Each wants an outside pull-down, so that a reset means off.
RELAY = 25
PUMP = 26
FAN = 27
SOUNDER = 33
LIGHT = 32
OUTPUTS = (RELAY, PUMP, FAN, SOUNDER, LIGHT)

# Inputs. Loops close to ground through an NC contact; 34-39 have no inner pulls at all.
PROBES = 4
FLOW = 18
TACH = 14
TRAY = 35
LEVEL = 36
FLOOR = 39
MAINS = 13
BUTTON = 23
BUTTON_UP = 16  # 16 and 17 serve the second RAM chip of modules that have one
BUTTON_DOWN = 17
RELAY_CONTACT = 19
BATTERY = 34  # on the first converter: the second is taken by the radio
I2C_ID = 0
I2C_SDA = 21
I2C_SCL = 22

RELAY_PULSED = False  # True: relay driver behind a capacitor, driven by alternating pulses
PULSE_COUNTER = True  # the pulse counter unit: interrupts of this chip are queued, may drop edges
ADC_FULL_MV = 3100  # about, at the widest attenuation; the divider's ratio is calibrated
PUMP_HZ = 1000
FAN_HZ = 25000
WATCHDOG_MS = 8000

RESET = ()  # machine.reset_cause() is all that this chip lends a program
