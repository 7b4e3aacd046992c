"""The steps of commissioning as data: what to do, to expect, how it is judged, what to beware of.

`wiring/commissioning.md` is made from this table (`sheet.hand_sheet`); a test holds them together.
Limits without a source are common practice and say so in the text.
"""

from collections.abc import Iterator
from dataclasses import replace

from ..errors import KnownError
from ..site import Site
from ..site.tables import PROBES
from .kinds import ICE_READINGS, Ask, Step, number, yes


def _contact(name: str, do: str, wants: str, expect: str) -> Step:
    return Step(
        f"alarm_{name}", do, expect,
        "the input opens, what must be off is off, and it clears again",
        (
            yes("seen", "the board saw it open", "look at wire, plug and pull-up"),
            yes("off", f"{wants} off within 2 s", "do not use it: find out why"),
            yes("cleared", "put back and acknowledged, the alarm ended",
                "does the contact close again?"),
        ),
        ("water",), f"sensors.{name}", watch="contact", repeats_months=1,
    )  # fmt: skip


def _pulse(name: str, do: str, expect: str, seen: str) -> Step:
    return Step(
        f"pulse_{name}", do, expect, "on when asked, off when told",
        (
            yes("came_on", "it was switched on by the board", "what holds it back? "
                "springhouse watch says why"),
            yes("seen", seen, "driver, fuse, plug, polarity"),
            yes("went_off", "it went off when told", "do not use it: a driver stuck on"),
        ),
        ("mains", "water"), watch="pulse",
    )  # fmt: skip


STEPS: tuple[Step, ...] = (
    Step(
        "type",
        "freezer's label and manual read: control, compressor, defrosting",
        "a plain chest: thermostat with a knob, compressor of one speed, defrosted by hand",
        "variable speed and frost-free are refused; an electronic control must pass the next step",
        (
            Ask("control", "control: knob or electronic", "choice",
                choices=("knob", "electronic")),
            yes("variable", "variable-speed (inverter) compressor", "its electronics restart and "
                "slow down by their own rules: a relay in its cord cannot lead it",
                right="no", refuses=True),
            yes("frost_free", "frost-free", "its fan and defrost heater do not go with water",
                right="no", refuses=True),
        ),
        ("refrigerant",),
    ),
    Step(
        "residual_current",
        "button of the residual-current device pressed",
        "it trips, and holds when set again",
        "trips at once",
        (yes("trips", "it tripped and was set again", "no mains work before it does"),),
        ("mains",),
        "protection.residual_current_device",
        repeats_months=1,
        keeps="residual_current_on",
    ),
    Step(
        "restart",
        "freezer empty and running, its own thermostat at coldest; plug pulled, put back after "
        "10 minutes",
        "it starts by itself; its own delay is counted by a watch",
        "a freezer that waits for a button is refused; a delay over 4 minutes wants a longer "
        "minimum on-time than the usual 5",
        (
            yes("coldest", "its own thermostat stands at coldest",
                "set it so, else it ends every charge before the controller does"),
            yes("restarts", "it started again by itself, without a button",
                "electronic standby: after every pause it would stay off", refuses=True),
            number("delay_s", "seconds from plug to hum", "s", 0, 3600),
        ),
        ("mains", "refrigerant"),
    ),
    Step(
        "skin",
        "after an hour of running, the outside felt by hand",
        "warm walls are its condenser: they stay bare, 10 cm from anything",
        "nothing clad, packed or boxed in",
        (
            yes("bare", "every outer wall bare, no insulation, no box, air all round",
                "take it off: a clad hot skin overheats the motor"),
            yes("shut", "lid seal closes all round on a strip of paper", "seal or hinges first"),
        ),
        ("refrigerant",),
    ),
    Step(
        "floor",
        "weight on the floor worked out with the store full",
        "kg/m² that the floor carries",
        "over 150 kg/m² (lower end of EN 1991-1-1 for dwellings, from memory) someone who may "
        "judge floors has said yes, or it stands on the ground",
        (
            number("freezer_kg", "freezer's own weight", "kg", 5, 300),
            number("length_m", "its length outside", "m", 0.3, 3),
            number("width_m", "its width outside", "m", 0.3, 2),
            Ask("carries", "slab on the ground, or floor approved for it"),
        ),
        ("water",),
    ),
    Step(
        "fill",
        "drain plug and seams looked at; filled to the line where a leak does no harm, 24 h",
        "level unchanged",
        "2 mm at most in 24 h (common practice, no source); line leaves room for the ice",
        (
            number("height_mm", "height of the water over the inner floor", "mm", 20, 1500),
            number("drop_mm", "fall in 24 h", "mm", 0, 500, (0, 2), "it leaks: not in a room yet"),
            yes("dry", "drain plug, seams and floor under it dry", "seal the plug, or another box"),
        ),
        ("water", "refrigerant"),
    ),
    Step(
        "power_up",
        "every output pin on a lamp, board powered up 20 times",
        "no lamp blinks",
        "none in 20",
        (yes("dark", "no lamp blinked", "pull-down at the driver; pin off the start-up list"),),
    ),
    Step(
        "board_off",
        "board unplugged with everything else powered",
        "everything off",
        "relay, pump and fans still",
        (yes("off", "everything off", "a resistor pulls each driver's input to off"),),
        ("mains",),
    ),
    Step(
        "probe",
        "{probe}: warmed in the hand, the others left alone",
        "the right one moves",
        "2 K or more, and more than any other",
        (Ask("moved", "which reading moved", "choice", choices=(*PROBES, "none")),),
        each_probe=True,
        watch="probe",
    ),
    Step(
        "ice_point",
        "{probe}: in crushed ice and water, stirred, ten minutes; then ten readings",
        "all near 0 °C",
        "spread 0.13 K at most, mean within 0.5 K of 0 °C (data sheet), remaining error 0.2 K at "
        "most; the offset goes into the site file",
        (
            Ask("readings", f"{ICE_READINGS} readings, raw, with blanks between", "numbers", "°C",
                -20, 20),
        ),
        each_probe=True,
        watch="ice_point",
        repeats_months=12,
        keeps="ice_point_on",
    ),
    _contact("mains", "plug of the mains sense pulled for a moment", "compressor",
             "within 2 s no compressor; it waits its off-time afterwards"),
    _contact("tray", "tray float lifted by hand", "pump and fans",
             "within 2 s no pump, no fans; alarm at the third time in a day"),
    _contact("level", "level float let fall by hand", "everything",
             "alarm within 2 s, everything off; ends by the button"),
    _contact("floor", "floor contact wetted with a damp cloth", "everything",
             "alarm within 2 s, everything off; ends by the button"),
    Step(
        "alarm_probe",
        "{probe}: its plug pulled, put back once the board tells it",
        "the board tells the fault; what rests on this probe alone is off",
        "told within 10 s, off within a minute, and ended by itself once it is back",
        (
            yes("seen", "the board told it, and what rests on it alone is off",
                "was it this probe's plug? Else do not use it: find out why"),
            yes("cleared", "put back, the fault ended", "plug, cable, pull-up"),
        ),
        ("water",),
        each_probe=True,
        watch="unplugged",
    ),
    _pulse("compressor", "freezer UNPLUGGED from the relay, a lamp in its place; asked to charge",
           "relay clicks after its waiting time, lamp lights", "relay clicked, lamp lit"),
    Step(
        "purge",
        "loop filled, owner's mode *purge* until it runs without bubbles",
        "flow steady",
        "30 s within a tenth, over the least flow of the settings",
        (
            yes("steady", "flow steady", "purge on: tap the coil, raise the return",
                needs="sensors.flow"),
            yes("clear", "no bubbles in the return", "purge on"),
        ),
        ("water",),
        watch="purge",
    ),
    _pulse("pump", "pump alone, freezer unplugged (mode *purge*)", "it runs", "pump ran"),
    _pulse("fan", "freezer unplugged, mode *cool now*; if the store is not 6 K colder than the "
           "room, room probe in the hand", "fans turn, air towards the room",
           "fans turned the right way"),
    Step(
        "flow",
        "pump alone, return into a bucket at its own height, stopwatch",
        "litres a minute as expected",
        "within a fifth of what the labels allow; pulses a litre follow with their error",
        (
            number("board_l_min", "flow that the board shows meanwhile", "L/min", 0, 60,
                   needs="sensors.flow"),
            number("pulses_l", "flow_pulses_l in wiring.json now", "1/L", 1, 10000,
                   needs="sensors.flow"),
            number("litres", "water in the bucket, weighed", "L", 0.5, 200),
            number("seconds", "by the stopwatch", "s", 5, 3600),
        ),
        ("water",),
        watch="flow",
    ),
    Step(
        "dry_run",
        "pump's plug pulled while it is asked to run (mode *purge*)",
        "dry-run stop within 10 s",
        "the board takes the pump away",
        (yes("stopped", "dry-run stop seen", "does the flow sensor read with the pump off?"),),
        ("water",),
        "sensors.flow",
        watch="dry_run",
        repeats_months=12,
    ),
    Step(
        "leak_hour",
        "loop full and running for a moment, then all left alone for an hour, paper under joints",
        "level unchanged, paper dry",
        "1 mm at most, floor contact and level float quiet",
        (
            yes("quiet", "floor contact and level float quiet all the hour", "find the water"),
            number("drop_mm", "fall of the level in the hour", "mm", 0, 500, (0, 1),
                   "find the leak first"),
            yes("dry", "paper dry under every joint", "that joint again"),
        ),
        ("water",),
        watch="leak_hour",
    ),
    Step(
        "siphon",
        "pump running full, its plug pulled, watched for an hour",
        "level stands: the siphon break works",
        "1 mm at most, and no flow seen",
        (
            yes("still", "no flow with the pump off, contacts quiet", "vent hole in the return "
                "above the water line, outlet over the rim"),
            number("drop_mm", "fall of the level in the hour", "mm", 0, 500, (0, 1),
                   "vent hole in the return above the water line, outlet over the rim"),
        ),
        ("water",),
        watch="siphon",
        repeats_months=12,
        keeps="siphon_on",
    ),
    Step(
        "droplets",
        "fans at full, coil cold, dry paper a hand's width in front of it for ten minutes",
        "paper dry",
        "no spot",
        (yes("dry", "paper dry", "slower fans or a larger coil face: 2.5 m/s at most"),),
        ("water",),
    ),
    Step(
        "first_charge",
        "freezer plugged in, first charge (*first pull-down* from a warm fill); stay with it",
        "degrees by the hour as the table says; case not hot",
        "hours between the weakest and the strongest reading of the labels, a third either way",
        (
            number("from_c", "water at the start, stirred", "°C", 2, 40),
            number("to_c", "water at the end, stirred", "°C", 0.5, 39),
            number("hours", "hours between", "h", 0.5, 200),
            number("place_c", "air beside the freezer, mean", "°C", -5, 45),
            yes("case", "case warm at most, no smell", "plug out: motor overheats"),
        ),
        ("mains", "refrigerant"),
        watch="first_charge",
    ),
    Step(
        "ice_look",
        "looked inside at 4, 3 and 2 °C",
        "wall ice thin, none floating, or as the declared ice bank allows",
        "as expected at each",
        (yes("thin", "ice as expected at each", "is the high probe at the wall? freeze guard"),),
        ("refrigerant",),
    ),
    Step(
        "cut_out",
        "sensor of the freeze cut-out into ice water with salt, freezer running",
        "freezer stops, whatever the board says",
        "within 15 minutes (common practice, no source)",
        (yes("stops", "freezer stopped", "no charge unwatched before it does"),),
        ("mains", "salt"),
        "protection.independent_freeze_cutout",
        repeats_months=12,
        keeps="cut_out_on",
    ),
    Step(
        "drive",
        "relay's drive unplugged from the board while the relay is on",
        "relay drops",
        "at once",
        (yes("drops", "relay dropped", "alternating drive or cut-out: see required_hardware.md"),),
        ("mains",),
        repeats_months=12,
    ),
    Step(
        "quiet_buses",
        "a day of switching, springhouse watch beside it",
        "fault counts stay at 0",
        "no bad frame, no alarm without a cause",
        (yes("none", "no fault counted", "pull-up, twisted pair, diodes, snubber"),),
    ),
    Step(
        "outage",
        "mains plug of all pulled during a charge, put back after a minute",
        "compressor waits its whole off-time",
        "at least the off-time of the settings",
        (number("waited_s", "seconds from power to compressor", "s", 0, 7200),),
        ("mains",),
        watch="outage",
    ),
)  # fmt: skip

# What comes back and is no step: what, how often in words, months (0: by use).
UPKEEP: tuple[tuple[str, str, int], ...] = (
    ("tray clean", "monthly", 1),
    ("condenser dusted, lid seal looked at and sniffed at", "yearly", 12),
    ("relay: operations counted against its rated life", "replace at half of it", 0),
    (
        "drain and dry",
        "when idle for more than two weeks above 20 °C, and for winter",
        0,
    ),
)


def there(site: Site, needs: str) -> bool:
    """Return whether the site has what ``needs`` names as "table.key"; "" is always there."""
    if not needs:
        return True
    table, key = needs.split(".")
    return getattr(getattr(site.file, table), key) in (True, "fitted")


def _spread(site: Site) -> Iterator[Step]:
    for step in STEPS:
        if not there(site, step.needs):
            continue
        step = replace(step, asks=tuple(ask for ask in step.asks if there(site, ask.needs)))
        if not step.each_probe:
            yield step
            continue
        for probe in PROBES:
            if there(site, f"sensors.{probe}"):
                name, do = f"{step.name}_{probe}", step.do.format(probe=probe)
                yield replace(step, name=name, do=do, probe=probe)


def steps(site: Site) -> tuple[Step, ...]:
    """Return the steps for what this installation has, in their order."""
    return tuple(_spread(site))


def step_named(site: Site, name: str) -> Step:
    """Return one step.

    Raises:
        KnownError: naming the steps there are.
    """
    for step in steps(site):
        if step.name == name:
            return step
    names = ", ".join(step.name for step in steps(site))
    raise KnownError(f"commission: no step {name!r} for {site.path}; steps: {names}")
