"""What stands on the page, in words, before it becomes HTML."""

import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from springhouse import setting
from springhouse_sim import board_files

from ..proof import invariants, show
from ..proof.running import room_limit_c
from ..proof.verdict import Judged, Verdict
from ..sheet.rows import DESCRIBED
from ..site.site import Site
from ..units import US_WORDS, convert
from .recorded import THIN_MIN, Recorded
from .sure import Sure, sure_of

if TYPE_CHECKING:
    from ..sheet.sizing import Sizing

ALL_ALIKE = "all alike"
RUN_ONLY = (
    "Figures of one simulated run. Whether the installation keeps its promises is for "
    "springhouse prove to say."
)


@dataclass(frozen=True)
class KeptChecks:
    """One promise in words; ``run`` is the number of the run that set it, None if all are alike."""

    name: str
    bound: str
    worst: str
    margin: str
    kept: bool
    scenario: str
    run: int | None
    why: str


@dataclass(frozen=True)
class LimitRow:
    """One thing that limits the installation: what there is over what is needed, weakest first."""

    name: str
    ratios: tuple[float, ...]
    change: str


@dataclass(frozen=True)
class ReportAnswer:
    """What followed a fault."""

    fault: str
    expected: str
    within: str
    took: str
    kept: bool
    run: int | None


@dataclass(frozen=True)
class About:
    """What the page says of the installation whatever was run."""

    evidence: str
    currency: str
    us: bool
    bounds: dict[str, float]  # promised, by chart, in the unit of the screen
    unguarded: tuple[str, ...]
    settings: tuple[tuple[str, int], ...]
    hashes: tuple[tuple[str, str], ...]
    cautions: tuple[tuple[str, str], ...]  # a lead in bold, the rest


@dataclass(frozen=True)
class View:
    """A page. ``promises`` and what follows are empty in the report of a single run."""

    title: str
    headline: str
    kept: bool | None
    lead: tuple[str, ...]
    about: About
    runs: tuple[Recorded, ...]
    first: int  # the run that is shown at first
    assumes: tuple[str, ...]
    promises: tuple[KeptChecks, ...] = ()
    readings: tuple[str, ...] = ()  # heads of the limits' ratios
    limits: tuple[LimitRow, ...] = ()
    answers: tuple[ReportAnswer, ...] = ()
    held: tuple[tuple[str, str, int, int], ...] = ()
    remarks: tuple[str, ...] = ()
    sure: Sure | None = None
    desk: str = ""  # the command that opens the page on which it can be changed

    @property
    def thinned(self) -> str:
        """What the charts leave out."""
        if all(run.step_min == 1 for run in self.runs):
            return "Lines show every minute."
        full = [run.name for run in self.runs if run.step_min == 1 and run.days > 7]
        said = f"Lines of runs longer than 7 days show one minute in {THIN_MIN}"
        if full:
            said += f", except in full: {'; '.join(full)}"
        return said + (
            ". Shorter runs show every minute. What runs when is exact to the second, and all "
            "numbers in words and tables of figures come from the whole run."
        )


def nearest(judged: Sequence[Judged]) -> Judged | None:
    """Return the promise nearest to its bound, or farthest beyond it, that one run set.

    Distance counts in shares of the bound; a bound of zero has none and is left out unless broken.
    """
    one = [j for j in judged if j.scenario != ALL_ALIKE and (j.promise.limit or not j.kept)]
    return min(one, key=lambda j: j.margin / (abs(j.promise.limit) or 1e-9), default=None)


def of_proof(
    verdict: Verdict, runs: Sequence[Recorded], sizing: "Sizing", us: bool, first: int
) -> View:
    """Return the page of a proof."""
    place = {run.name: i for i, run in reversed(list(enumerate(runs)))}
    kept = tuple(_kept(j, place, us) for j in verdict.judged)
    return View(
        title=verdict.site.name,
        headline=_headline(verdict) + show.not_guarded(verdict),
        kept=verdict.kept,
        lead=tuple(_lead(verdict, kept, us)),
        about=about(verdict.site, us),
        runs=tuple(runs),
        first=first,
        assumes=tuple(verdict.assumes()),
        promises=kept,
        readings=tuple(f"{DESCRIBED[v]} reading" for v in sizing.sheets),
        limits=_limits(sizing),
        answers=tuple(
            ReportAnswer(name, *show.response_cells(r), r.kept, place.get(name))
            for name, r in verdict.hardest()
        ),
        held=tuple(
            (invariants.identity(h.number), invariants.TEXTS[h.number], h.cases, h.violations)
            for h in verdict.held
        ),
        remarks=tuple(show.remarks(verdict, us)),
        sure=sure_of(verdict, us),
        desk=f"springhouse desk {shlex.quote(verdict.site.path)} --open"
        + (" --units us" if us else ""),
    )


def of_run(site: Site, run: Recorded, us: bool) -> View:
    """Return the page of a single run."""
    return View(
        title=f"{site.name}: {run.name}",
        headline="One run, no proof",
        kept=None,
        about=about(site, us),
        lead=(RUN_ONLY, run.sentences["room"], run.sentences["power"]),
        runs=(run,),
        first=0,
        assumes=tuple(site.assumes()),
    )


def _headline(verdict: Verdict) -> str:
    if verdict.kept:
        return "Kept, in simulation"
    return "It depends" if verdict.depends else "Not kept"


def _lead(verdict: Verdict, kept: Sequence[KeptChecks], us: bool) -> list[str]:
    broken = [k for k in kept if not k.kept]
    count = len(kept)
    if broken:
        said = [
            f"{len(broken)} of {count} promises are broken: {'; '.join(b.name for b in broken)}."
        ]
    else:
        said = [f"All {count} promises are kept in every run, with the margins below."]
    tightest = nearest(verdict.judged)
    if tightest is not None:
        name, bound, worst, margin = show.promise_cells(tightest, us)
        said.append(
            f"Tightest: {name}, {worst} at worst where {_plain(bound)} is promised; margin "
            f"{margin}, set by: {tightest.scenario}."
        )
    violations = sum(h.violations for h in verdict.held)
    if violations:
        said.append(f"Invariants are broken {violations} times.")
    late = sum(not r.kept and not r.lacks for _, r in verdict.hardest())
    if late:
        said.append(f"{late} faults are not answered as they must be.")
    bare = verdict.bare_rows()
    if bare:
        said.append(
            f"NOT GUARDED: {len(bare)} faults come about that nothing here notices; what happened "
            "stands in their rows and counts for the promises."
        )
    sample = verdict.sample
    if not sample.enough:
        said.append(
            f"Only {int(sample.keeps.sum())} of {len(sample.rows)} plausible installations keep "
            f"them all; {sample.wanted_percent:g} % are wanted. What to measure next stands below."
        )
    if not (verdict.kept or verdict.depends or broken or violations or late):
        said.append("A check of the controller found something: see the remarks.")
    return said


def _plain(bound: str) -> str:
    return bound.replace(">=", "at least").replace("<=", "at most")


def _kept(j: Judged, place: dict[str, int], us: bool) -> KeptChecks:
    name, bound, worst, margin = show.promise_cells(j, us)
    return KeptChecks(
        name, _plain(bound), worst, margin, j.kept, j.scenario, place.get(j.scenario), j.why
    )


def _limits(sizing: "Sizing") -> tuple[LimitRow, ...]:
    sheets = list(sizing.sheets.values())
    by_name = [{limit.name: limit.ratio for limit in sheet.limits} for sheet in sheets]
    return tuple(
        LimitRow(limit.name, tuple(ratios[limit.name] for ratios in by_name), limit.change)
        for limit in sheets[0].limits
    )


def about(site: Site, us: bool) -> About:
    """Return what the page says of an installation."""

    def on_screen(value: float, unit: str) -> float:
        return convert(value, unit, US_WORDS[unit], kind=unit) if us else value

    ice_kg = next(p.limit for p in site.promises() if p.measure == "ice_kg")
    return About(
        evidence=site.evidence,
        currency=site.currency,
        us=us,
        bounds={
            "room": on_screen(room_limit_c(site), "°C"),
            "ice": on_screen(ice_kg, "kg"),
        },
        unguarded=tuple(site.unguarded()) or ("nothing that was asked about",),
        settings=settings_rows(site),
        hashes=(
            ("site_sha256", site.site_sha256),
            ("settings_sha256", site.settings_sha256),
            ("firmware_sha256", site.firmware_sha256),
        ),
        cautions=cautions(),
    )


def settings_rows(site: Site) -> tuple[tuple[str, int], ...]:
    """Return (slot, value) of the record that goes to the board, unused windows left out."""
    names = {n: name for name, n in vars(setting).items() if name.isupper() and isinstance(n, int)}
    values = site.settings()
    rows = [(names[i].lower(), values[i]) for i in range(setting.WINDOW_1_KIND)]
    for window in range(setting.WINDOWS):
        at = setting.WINDOW_1_KIND + window * setting.WINDOW_STRIDE
        if values[at]:
            for k, word in enumerate(("kind", "days", "start_min", "end_min")):
                rows.append((f"window_{window + 1}_{word}", values[at + k]))
    return tuple(rows)


def cautions() -> tuple[tuple[str, str], ...]:
    """Return the list of wiring/cautions.md as (what stands bold, the rest)."""
    text = (board_files.folder("wiring") / "cautions.md").read_text("utf-8")
    items = re.findall(r"^\d+\. \*\*(.+?)\*\*(.*?)(?=^\d+\. |\Z)", text, re.M | re.S)
    return tuple((" ".join(lead.split()), " ".join(rest.split())) for lead, rest in items)
