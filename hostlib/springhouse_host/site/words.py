"""What is not guarded and what is taken on trust, in words for a person."""

from dataclasses import dataclass
from enum import IntEnum

from .probes import probe_error_k
from .read import SiteFile

ABSENT = {
    "level": "a falling water level in the store is not detected",
    "floor": "water on the floor is not detected",
    "tray": "a full condensate tray is not detected: the open drain must stay clear",
    "humidity": "humidity is not measured: condensate is judged by weather dew point + 3 K",
    "coil_air": "air at the coil is not measured: the room probe stands in",
    "fan_tach": "a stalled fan is not detected",
    "relay_feedback": "a welded relay is noticed only by the store getting colder, within 35 min",
    "mains": "mains is not sensed: the compressor waits its full off time at every boot",
}
BY_THE_BOTTOM = (
    "a welded relay is noticed only by the bottom of the store getting colder, within 35 min, "
    "later where warmer water lies above"
)
UNDECLARED = {
    "independent_freeze_cutout": "no independent freeze cut-out: a welded relay freezes the store "
    "solid",
    "siphon_break": "no siphon break: with the pump off the store can still empty onto the floor",
    "residual_current_device": "no residual-current device in the freezer's supply",
}
DECLARED = {
    "independent_freeze_cutout": "an independent freeze cut-out in series with the freezer, tested "
    "by hand",
    "siphon_break": "a siphon break above the water line, tested with the plug pulled",
    "residual_current_device": "a residual-current device ({trips}) feeding the freezer",
}

TESTED = {  # by what is declared: the key of [commissioned] that keeps its date
    "independent_freeze_cutout": "cut_out_on",
    "siphon_break": "siphon_on",
    "residual_current_device": "residual_current_on",
    "ice_point_checked": "ice_point_on",
}


class Severity(IntEnum):
    """How bad it is that nothing watches something."""

    SERVICE = 1  # less comfort, or an answer that comes late
    DAMAGE = 2  # a part wears out or breaks
    DANGER = 3  # water, ice or mains where people are


@dataclass(frozen=True)
class Gap:
    """Something that nothing watches: the key of the site file, how bad, and what it means."""

    key: str
    severity: Severity
    text: str


SEVERITY = {
    "sensors.level": Severity.DANGER,
    "sensors.floor": Severity.DANGER,
    "sensors.tray": Severity.DANGER,
    "sensors.store_high": Severity.DAMAGE,
    "sensors.flow": Severity.DAMAGE,
    "sensors.mains": Severity.DAMAGE,
    "sensors.battery": Severity.DAMAGE,
    "battery.kind": Severity.SERVICE,
    "protection.independent_freeze_cutout": Severity.DANGER,
    "protection.siphon_break": Severity.DANGER,
    "protection.residual_current_device": Severity.DANGER,
}


def _gap(key: str, text: str) -> Gap:
    return Gap(key, SEVERITY.get(key, Severity.SERVICE), text)


GROUND_FAULT_BELOW_V = 150.0  # mains of 100 to 127 V: North America, parts of Asia


def protector(file: SiteFile) -> tuple[str, str]:
    """Return the device that protects people on these mains, and at what current it trips.

    Ground-fault interrupters of class A trip at 4 to 6 mA (UL 943), residual-current devices for
    protection of people at 30 mA or less (IEC 61008); both from memory.
    """
    if file.freezer.mains_v < GROUND_FAULT_BELOW_V:
        return "ground-fault interrupter", "4 to 6 mA"
    return "residual-current device", "30 mA or less"


def trips(file: SiteFile) -> str:
    """Return at what current the device that protects people trips."""
    name, current = protector(file)
    return f"a {name}, {current}" if file.freezer.mains_v < GROUND_FAULT_BELOW_V else current


def gaps(file: SiteFile) -> list[Gap]:
    """Return what nothing watches: absent sensors, then protection that is not declared."""
    missing = {key for key, word in file.sensors.model_dump().items() if word == "absent"}
    found: list[Gap] = []
    if "store_high" in missing:
        floor_c = 4.0 + probe_error_k("store_low", file.sensors.ice_point_checked)
        text = (
            "ice at the top and the wall of the store is not seen: the compressor stops at "
            f"{floor_c:g} °C"
        )
        found.append(_gap("sensors.store_high", text))
    if "store_low" in missing:
        text = "the bottom of the store is not measured: the probe at the wall stands in"
        found.append(_gap("sensors.store_low", text))
    if {"flow", "coil_in"} <= missing:
        text = "flow is not measured: a dry pump is not noticed, it runs in bounded spells"
        found.append(_gap("sensors.flow", text))
    elif "flow" in missing:
        text = (
            "flow is not measured: a dry pump is noticed only when the coil inlet does not follow "
            "the store within 3 min"
        )
        found.append(_gap("sensors.flow", text))
    absent = ABSENT | ({"relay_feedback": BY_THE_BOTTOM} if "store_high" in missing else {})
    found += [_gap(f"sensors.{key}", text) for key, text in absent.items() if key in missing]
    if file.battery.kind != "none" and "battery" in missing:
        text = "battery voltage is not measured: it may be drained below its limit"
        found.append(_gap("sensors.battery", text))
    if file.battery.kind == "power_bank":
        text = "a power bank shows no falling voltage: it ends without a warning"
        found.append(_gap("battery.kind", text))
    declared = file.protection.model_dump()
    return found + [
        _gap(f"protection.{key}", text) for key, text in UNDECLARED.items() if not declared[key]
    ]


def unguarded(file: SiteFile) -> list[str]:
    """Return the words of all that nothing watches."""
    return [gap.text for gap in gaps(file)]


def _tested(file: SiteFile, key: str) -> str:
    """Return when something that is taken for granted was last tested, if that is known."""
    day = getattr(file.commissioned, TESTED[key])
    return f" (last on {day})" if day else ""


def assumes(file: SiteFile) -> list[str]:
    """Return what the owner declares and no simulation can show."""
    declared = file.protection.model_dump()
    found = [
        text.format(trips=trips(file)) + _tested(file, key)
        for key, text in DECLARED.items()
        if declared[key]
    ]
    found.append(
        "the other parts of wiring/required_hardware.md and its proof tests, such as floats lifted "
        "by hand every month"
    )
    if file.tray.open_drain:
        found.append("an open drain from the condensate tray that stays clear")
    checked = file.sensors.ice_point_checked
    if checked:
        names = ", ".join(checked)
        found.append(
            f"ice-point checks of {names}, good to 0.2 K and repeated every year"
            + _tested(file, "ice_point_checked")
        )
    found.append("plain water in the store, without salt or antifreeze")
    found.append(f"a climate class {file.freezer.climate_class} freezer kept within its class")
    return found
