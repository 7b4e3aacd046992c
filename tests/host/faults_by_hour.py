"""One fault of each kind at hours of the day after the hottest, and what the controller did.

`python tests/host/faults_by_hour.py bedroom-night 03:00 12:00` prints a line a fault: what ran
before, when the outputs changed after it, latches, broken invariants. A room that is held by
turns is still for minutes, so a fault comes with the first minutes from the hour on in which
delivery or charging is under way.
"""

import sys
from dataclasses import dataclass
from datetime import datetime

from springhouse import output
from springhouse_host.proof import running
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.proof.situations import Situation, charging, delivering
from springhouse_host.proof.weather_days import days_of
from springhouse_host.site import Site, load_site
from springhouse_host.site.fields import clock_min
from springhouse_sim.bench import Pace
from springhouse_sim.world import days
from springhouse_sim.world.faults import CATALOGUE, Acts, Fault
from springhouse_sim.world.outage import Outage

LASTS_S = 1800
AFTER_H = 2
DAY_S = 86_400
WORKS_S = 120  # delivery or charging goes on so long where nothing breaks
WITHIN_S = 3600  # of the hour asked for
NAMES = {
    output.COMPRESSOR: "compressor",
    output.PUMP: "pump",
    output.FAN: "fan",
    output.ALARM: "alarm",
}
MAINS = "mains_away"
KINDS = ("none", MAINS, *CATALOGUE)


@dataclass(frozen=True)
class Answer:
    """What was on a second before a fault, the changes in the half hour of it, and what broke."""

    before: str
    changes: tuple[tuple[float, str], ...]  # seconds after the fault, what is on then
    latched: int
    broken: int  # violations of invariants in the whole run


def words(out: int) -> str:
    """Return the outputs that are on."""
    return " ".join(name for bit, name in NAMES.items() if out & bit) or "all off"


@dataclass(frozen=True)
class Moment:
    """Where a fault comes: s after the start of the run, and what is under way then."""

    at_s: int
    doing: str  # delivery, charging or rest
    waited_s: int  # from the hour asked for


def start_of(site: Site) -> datetime:
    """Return the hottest day of the summer, with which every run begins."""
    return days_of(site, lambda weather: days.hottest(weather, 1)).start


def moment(site: Site, clock: str) -> Moment:
    """Return the first moment from an hour of the clock on at which the installation is at work."""
    minute = clock_min(clock)
    assert minute is not None
    asked_s = DAY_S + 60 * (minute - round(site.file.weather.clock_ahead_min))
    healthy = running.bench(site, Scenario("", "nominal", start_of(site), 3), pace=Pace.SKIP)
    trace = healthy.run((asked_s + WITHIN_S + WORKS_S) / DAY_S)
    work: tuple[tuple[str, Situation], ...]
    work = (("delivery", delivering(WORKS_S)), ("charging", charging(WORKS_S)))
    found = [(at.moment_s(trace, asked_s), doing) for doing, at in work]
    at_work = [Moment(at_s, doing, at_s - asked_s) for at_s, doing in found if at_s is not None]
    return min(at_work, key=lambda m: m.at_s, default=Moment(asked_s, "rest", 0))


def answer(site: Site, kind: str, at: Moment, probe: str) -> Answer:
    """Run two days with a fault that comes at a moment of the second."""
    faults: tuple[Fault, ...] = ()
    if kind in CATALOGUE:
        named = CATALOGUE[kind].acts is Acts.PROBE
        faults = (Fault(kind, at.at_s, LASTS_S, probe=probe if named else ""),)
    scenario = Scenario(
        "", "fault", start_of(site), 3,
        faults=faults,
        outages=(Outage(at.at_s, LASTS_S),) if kind == MAINS else (),
    )  # fmt: skip
    bench = running.bench(site, scenario, pace=Pace.SKIP)
    trace = bench.run(at.at_s / DAY_S + AFTER_H / 24.0)
    events = trace.transitions()
    seconds = events["ms"].to_numpy() / 1000.0 - at.at_s
    out, latch = events["out"].to_numpy(), events["latch"].to_numpy()
    before = int(out[seconds < 0.0][-1])
    found, last = [], before
    for when, now in zip(seconds, out, strict=True):
        if 0.0 <= when <= LASTS_S and words(now) != words(last):
            found.append((float(when), words(now)))
            last = now
    latched = int(latch[seconds >= 0.0].max(initial=0))
    return Answer(words(before), tuple(found), latched, int(trace.violations.sum()))


def main() -> None:
    """Print the answers."""
    word, *clocks = sys.argv[1:]
    site = load_site(word)
    for clock in clocks:
        at = moment(site, clock)
        # The probe that the side at work leans on: the room's or the store's.
        probe = "store_low" if at.doing == "charging" else "room"
        print(f"{clock}: {at.doing}, {at.waited_s} s later")
        for kind in KINDS:
            found = answer(site, kind, at, probe)
            then = "; ".join(f"{s:.0f} s {what}" for s, what in found.changes[:3]) or "goes on"
            print(
                f"{clock} {kind}: {found.before}, then {then}; latches {found.latched}, "
                f"broken {found.broken}",
                flush=True,
            )


if __name__ == "__main__":
    main()
