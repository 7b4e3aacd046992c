"""The verdict in words, line by line, for a screen."""

from collections.abc import Iterator

from rich import box
from rich.table import Table
from springhouse import words

from ..site.words import Severity
from ..units import UNITS, retold, show
from . import beyond, invariants
from .next_measure import NAMED, fitted_percent, measurements
from .responses import Response, named
from .verdict import Judged, Verdict

WORST_INPUTS = 4  # named
CAUTION = (
    "Home-built, uncertified: mains work by local codes and licensed practice, a residual-"
    "current device, an independent freeze cut-out."
)


def headline(verdict: Verdict) -> str:
    """Return the one line that matters most."""
    word = "KEPT" if verdict.kept else "NOT KEPT"
    if verdict.depends:
        word = f"DEPENDS ON {', '.join(verdict.sample.deciding()) or 'many numbers together'}"
    grade = f" - {verdict.site.evidence}" if verdict.site.evidence == "ESTIMATE" else ""
    hidden = len(verdict.not_shown())
    faults = "fault" if hidden == 1 else "faults"
    hollow = f" - NOT SHOWN: {hidden} {faults} with nothing to answer" if hidden else ""
    return f"{verdict.site.name}: {word}{grade}{hollow}{not_guarded(verdict)}"


def not_guarded(verdict: Verdict) -> str:
    """Return what is missing, worst first; empty if nothing.

    That is what parts or people come to harm without, and what would have answered a fault that
    came about in this proof.
    """
    lacks = {key for _, r in verdict.responses() for key in r.lacks}
    gaps = verdict.site.gaps()
    bad = [gap for gap in gaps if gap.severity >= Severity.DAMAGE or gap.key in lacks]
    bad.sort(key=lambda gap: -gap.severity)
    keys = ", ".join(gap.key.split(".")[-1].replace("_", " ") for gap in bad)
    return f" - NOT GUARDED: {keys}" if keys else ""


def promises(verdict: Verdict, us: bool) -> Table:
    """Return promises x worst scenario x margin."""
    table = Table(box=box.SIMPLE_HEAD)
    table.add_column("promise")
    for head in ("bound", "worst", "margin"):
        table.add_column(head, justify="right")
    table.add_column("set by")
    table.add_column("in 95 %", justify="right")
    for number, j in enumerate(verdict.judged):
        name, bound, worst, margin = promise_cells(j, us)
        margin += "" if j.kept else "  BROKEN"
        cells = [name, bound, worst, margin, retold(j.scenario, us)]
        fifth = verdict.sample.fifth(number)
        cells.append("-" if fifth is None else _value(fifth, j, us))
        table.add_row(*cells, style="" if j.kept else "bold")
    return table


def promise_cells(j: Judged, us: bool) -> tuple[str, str, str, str]:
    """Return promise, bound, worst value found and margin."""
    side = ">=" if j.promise.at_least else "<="
    bound = f"{side} {_value(j.promise.limit, j, us)}"
    return _name(j, us), bound, _value(j.worst, j, us), _value(j.margin, j, us)


def _name(j: Judged, us: bool) -> str:
    if j.promise.room_below_c is None or not us:
        return j.promise.name
    return f"wanted hours with the room below {show(j.promise.room_below_c, '°C', us=True)}"


def _value(value: float, j: Judged, us: bool) -> str:
    unit = j.promise.unit
    if unit in UNITS:
        return show(value, unit, us=us)
    return f"{value:.3g} {unit}"


def held(verdict: Verdict, us: bool) -> Table:
    """Return invariants x cases x violations."""
    table = Table(box=box.SIMPLE_HEAD)
    table.add_column("invariant")
    table.add_column("")
    table.add_column("cases", justify="right")
    table.add_column("violations", justify="right")
    for h in verdict.held:
        broken = h.violations > 0 or h.cases == 0
        table.add_row(
            invariants.identity(h.number),
            retold(invariants.TEXTS[h.number], us),
            f"{h.cases:,}",
            str(h.violations),
            style="bold" if broken else "",
        )
    return table


def responses(verdict: Verdict, us: bool) -> Table:
    """Return faults x expected response x time it took, on the reading that came worst."""
    table = Table(box=box.SIMPLE_HEAD)
    table.add_column("fault")
    table.add_column("expected")
    for head in ("within", "took"):
        table.add_column(head, justify="right")
    for name, r in verdict.hardest():
        cells = [retold(text, us) for text in (name, *response_cells(r))]
        table.add_row(*cells, style="" if r.kept else "bold")
    return table


def response_cells(r: Response) -> tuple[str, str, str]:
    """Return what was expected, within what time, and what came."""
    if r.never:
        return r.never, "-", "NOT SHOWN"
    if r.lacks:
        return f"nothing without {' and '.join(r.lacks)}", "-", f"NOT GUARDED: {r.happened}"
    value = "never" if r.value is None else show(r.value, r.unit, digits=4)
    if not r.met:
        value = "NOT SHOWN"
    elif not r.kept:
        value += f"  BROKEN {r.why_not}".rstrip()
    return r.expected, show(r.limit, r.unit, digits=4), value


def share(verdict: Verdict, us: bool) -> Iterator[str]:
    """Yield how many plausible installations keep all, the worst of them, what to measure next."""
    sample = verdict.sample
    kept, count = int(sample.keeps.sum()), len(sample.rows)
    yield (
        f"kept in {kept} of {count} plausible installations, the hottest week of each, with all of "
        f"its {len(sample.doubts)} doubtful numbers drawn at once; {sample.wanted_percent:g} % "
        f"wanted; {len(sample.summers)} of them run through the summer too. The last column of the "
        "table is what 95 % of them do not come short of"
    )
    ranked = {d.key: d for d, _ in sample.ranks()[:WORST_INPUTS]}
    worst = dict(sample.draws[sample.worst])
    told = (f"{d.words} {show(worst[key], d.unit, us=us)}" for key, d in ranked.items())
    inputs = ", ".join(told)
    warmest_c = sample.rows[sample.worst].warmth_c
    yield (
        f"the worst of them: room up to {show(warmest_c, '°C', us=us)} in the promised share of "
        f"its wanted hours, with {inputs} and others"
    )
    yield (
        f"what to measure next is told from a sum over the numbers, by rank, which makes up "
        f"{fitted_percent(sample):.0f} % of what moves the room in the sample"
    )
    yield from measure_next(verdict)


def measure_next(verdict: Verdict) -> Iterator[str]:
    """Yield what would settle the verdict, a line a measurement."""
    limit_c = float(verdict.site.file.promises.room_below_c)
    for number, m in enumerate(measurements(verdict.sample, limit_c)[:NAMED], 1):
        yield (
            f"measure next, {number}: {m.words}: takes {m.taken_percent:.0f} % of the doubt about "
            f"the room; settles yes or no in {m.settled_percent:.0f} % of what it may find"
        )


def remarks(verdict: Verdict, us: bool) -> Iterator[str]:
    """Yield what was compared, checked, assumed and left unguarded."""
    yield from share(verdict, us)
    yield from (retold(line, us) for line in _remarks(verdict, us))


def _remarks(verdict: Verdict, us: bool) -> Iterator[str]:
    for name, cooler_k in verdict.cooler():
        if cooler_k is None:
            yield f"no wanted hours: {name}"
            continue
        cooler = show(cooler_k, "K", us=us, digits=2)
        yield f"{cooler} cooler than doing nothing in the wanted hours: {name}"
    yield from beyond.lines(verdict.results)
    complete = verdict.alone.complete
    yield (
        f"complete check of the statechart's rows and the interlock, {complete.lines:,} of the "
        f"core's {complete.core_lines:,} lines of code: {complete.table_cases:,} states x "
        f"condition words before the interlock, {complete.interlock_cases:,} outputs x interlock "
        f"words after it, {len(complete.violations)} violations"
    )
    yield from complete.violations[:5]
    machine = verdict.alone.machine
    yield (
        f"abstract machine: {machine.states:,} states in {len(machine.explored)} slices from "
        f"power-up under every input, {machine.steps:,} steps, {machine.transitions:,} "
        f"transitions, {len(machine.violations)} violations"
    )
    yield from machine.violations[:40]
    induction = verdict.alone.induction
    yield (
        f"by induction: {len(induction.results):,} queries over every setting, fitting, memory and "
        f"reading, {len(induction.missed)} not proven; claims for "
        f"{', '.join(map(invariants.identity, induction.invariants()))}"
    )
    yield from induction.violations[:40]
    scans = verdict.alone.random.scans
    days = sum(r.scenario.days for r in (*verdict.results, *verdict.bare))
    yield (
        f"{len(verdict.results) + len(verdict.bare)} scenarios, {days} days of 1 s control "
        "ticks, of which the controller is stepped at those where it could decide otherwise (the "
        f"quiet skip); {scans:,} scans of {scans // 2:,} random inputs, each from two "
        "origins of the clock"
    )
    if verdict.alone.kept_since:
        yield (
            "complete check, abstract machine, induction and random inputs ask the firmware alone: "
            f"found at {verdict.alone.kept_since} on these very sources (--fresh runs them again)"
        )
    yield (
        f"{verdict.replayed.ticks:,} ticks compiled and interpreted: the controller's memory "
        f"differs at {verdict.replayed.differing}"
    )
    unbroken = verdict.unbroken()
    yield f"{len(unbroken)} runs in which nothing breaks: something latched in " + (
        str(sum(r.latched != 0 for r in unbroken))
    )
    for run in unbroken:
        if run.latched:
            yield f"FALSE ALARM: {named(run.latched, words.LATCHES)}: {run.scenario.name}"
    for j in verdict.judged:
        if j.why:
            yield f"limited by: {j.why}"
    for name, r in verdict.responses():
        if r.change:
            yield f"to change: {name}: {r.change}"


def closing(verdict: Verdict, us: bool) -> Iterator[str]:
    """Yield the verdict's sentence, what it assumes, what is not guarded."""
    if verdict.kept:
        yield "Kept in simulation, for the parts described, assuming:"
    else:
        yield "Not kept in simulation, for the parts described, even assuming:"
    yield from (f"  - {retold(line, us)}" for line in verdict.assumes())
    yield "Not guarded:"
    unguarded = verdict.site.unguarded() or ["nothing that was asked about"]
    yield from (f"  - {retold(line, us)}" for line in unguarded)
    yield f"{CAUTION} See wiring/cautions.md."
