"""One fault of each kind at hours of the second of two hottest days, and what the controller did.

`python tests/host/faults_by_hour.py bedroom-night 03:00 12:00` prints a line a fault: what ran
before, when the outputs changed after it, latches, broken invariants.
"""

import sys
from dataclasses import dataclass

from springhouse import output as O
from springhouse_host.proof import running
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.proof.weather_days import days_of
from springhouse_host.site import Site, load_site
from springhouse_host.site.fields import clock_min
from springhouse_sim.bench import Pace
from springhouse_sim.world import days as D
from springhouse_sim.world.faults import CATALOGUE, Acts, Fault
from springhouse_sim.world.outage import Outage

LASTS_S = 1800
AFTER_H = 2
NAMES = {O.COMPRESSOR: "compressor", O.PUMP: "pump", O.FAN: "fan", O.ALARM: "alarm"}
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


def answer(site: Site, kind: str, clock: str, probe: str) -> Answer:
    """Run two days with a fault on the second at an hour of the clock on the wall."""
    minute = clock_min(clock)
    assert minute is not None
    first = days_of(site, lambda weather: D.hottest(weather, 1))
    standard_min = minute - round(site.file.weather.clock_ahead_min)
    at_s = 86400 + 60 * standard_min
    named = kind in CATALOGUE and CATALOGUE[kind].acts is Acts.PROBE
    faults = (Fault(kind, at_s, LASTS_S, probe=probe if named else ""),)
    scenario = Scenario(
        "", "fault", first.start, 3,
        faults=faults if kind in CATALOGUE else (),
        outages=(Outage(at_s, LASTS_S),) if kind == MAINS else (),
    )  # fmt: skip
    bench = running.bench(site, scenario, pace=Pace.SKIP)
    trace = bench.run(at_s / 86400.0 + AFTER_H / 24.0)
    events = trace.transitions()
    seconds = events["ms"].to_numpy() / 1000.0 - at_s
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
        # The probe that the side at work leans on: the room's at night, the store's by day.
        charging = answer(site, "none", clock, "room").before == "compressor"
        probe = "store_low" if charging else "room"
        for kind in KINDS:
            found = answer(site, kind, clock, probe)
            then = "; ".join(f"{s:.0f} s {what}" for s, what in found.changes[:3]) or "goes on"
            print(
                f"{clock} {kind}: {found.before}, then {then}; latches {found.latched}, "
                f"broken {found.broken}",
                flush=True,
            )


if __name__ == "__main__":
    main()
