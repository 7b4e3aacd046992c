"""More plain words: conditions and locks for the host alone, and the reasons of reason.py.

A board has the reasons as a file, see reasons.py.
"""

from springhouse.words import clock

STORE_CONDITIONS = (
    "store probe trusted",
    "ice threatens",
    "store warm",
    "store full",
    "may start",
    "minimum on-time",
    "mains",
    "store fault latched",
    "run barred",
    "start barred",
    "compressor running",
)
ROOM_CONDITIONS = (
    "room probe trusted",
    "room warm",
    "room cool",
    "cooling wanted",
    "store useful",
    "power",
    "tray full or waiting",
    "dry run waiting",
    "coil-freeze or waiting",
    "room fault latched",
    "delivery barred",
    "purge asked",
    "spell over",
    "pause of pump and fans",
    "least run of pump and fans",
)
LOCKS = (
    "no compressor: ice threatens",
    "no compressor: no store probe",
    "no compressor start: waiting time",
    "no compressor: no mains",
    "no compressor: fault latched",
    "no compressor: resting",
    "no delivery: tray",
    "no pump: dry run",
    "no pump: coil-freeze",
    "no delivery: power",
    "no delivery: fault latched",
    "fans capped",
    "start spacing",
    "all off",
    "no pump or fan start: waiting time",
)

# By the numbers of reason.py: what the region does, and why. A countdown stands between the two.
REASONS = (
    ("off", "settings are not valid"),
    ("off", "asked by the owner"),
    ("off", "service"),
    ("locked", "store level low"),
    ("locked", "floor wet"),
    ("locked", "no cooling"),
    ("locked", "store probes disagree"),
    ("locked", "pump ran dry"),
    ("locked", "condensate tray full too often"),
    ("locked", "fans without air"),
    ("chilling the store", "down to the store target"),
    ("chilling the store", "keeping up with delivery"),
    ("chilling the store", "first pull-down, until the motor rests"),
    ("chilling the store", "full, until the minimum on-time is over"),
    ("stopped", "no trusted store probe"),
    ("stopped", "a store probe does not move"),
    ("waiting", "store probes gaining trust"),
    ("stopped", "ice threatens"),
    ("stopped", "no probe at the wall, not below 4 °C"),
    ("stopped", "no mains"),
    ("resting", "compressor ran without progress"),
    ("resting", "compressor motor, first pull-down"),
    ("stopped", "ice run used up, until seen melted"),
    ("keeping cold", "store full"),
    ("stopped", "warm fill, first pull-down needed"),
    ("keeping cold", "cold enough"),
    ("keeping cold", "deep charge waits for its time"),
    ("waiting", "compressor off time after power-up"),
    ("waiting", "compressor off time after mains return"),
    ("waiting", "compressor off time"),
    ("waiting", "compressor starts in the hour used up"),
    ("waiting", "no start in quiet mode"),
    ("waiting", "no start in purge mode"),
    ("waiting", "no start at this tariff"),
    ("starting", "motors start one by one"),
    ("stopped", "condensate tray full"),
    ("waiting", "after the condensate tray was full, or power-up"),
    ("waiting", "after a dry run"),
    ("stopped", "flow seen with the pump off"),
    ("stopped", "coil could freeze"),
    ("waiting", "after a coil-freeze stop"),
    ("stopped", "no mains and no battery"),
    ("stopped", "battery low"),
    ("waiting", "pump pause, nothing shows its flow"),
    ("cooling the room", "until the room is cool"),
    ("cooling the room", "water not seen yet"),
    ("purging", "pump only"),
    ("stopped", "no trusted room probe"),
    ("waiting", "room probe gaining trust"),
    ("resting", "not wanted now"),
    ("resting", "room cool"),
    ("resting", "store not cold enough to be of use"),
    ("resting", "store spent"),
    ("resting", "room inside its band"),
    ("waiting", "pump and fans rest between two runs"),
    ("cooling the room", "until the least run is over"),
    ("stopped", "nothing shows that the coil is safe"),
    ("locked", "compressor does not switch off: pull its plug now"),
    ("stopped", "the low probe does not vouch for the high one, not below 4 °C"),
    ("stopped", "flow sensor shows more than the pump can deliver"),
    ("chilling the store", "down to the target of the plan"),
    ("waiting", "the plan charges later"),
)


def text(reason: int, ms: int) -> str:
    """A reason for a person, e.g. "waiting 7:12: compressor off time after power-up"."""
    does, why = REASONS[reason]
    if ms >= 0:
        does += " " + clock(ms)
    return does + ": " + why
