"""A small proof of the demo, a few short runs of it, and its page."""

from dataclasses import replace
from html.parser import HTMLParser
from types import SimpleNamespace
from typing import Any

from springhouse_host.induction.prove import ClaimResult
from springhouse_host.induction.whole import Induction
from springhouse_host.proof import placing, plausible, running, scenarios, sources
from springhouse_host.proof.abstract import Checked, Explored
from springhouse_host.proof.complete import Complete
from springhouse_host.proof.firmware_alone import Alone
from springhouse_host.proof.random_inputs import RandomRun
from springhouse_host.proof.replay import Replay
from springhouse_host.proof.verdict import Verdict, judge, tally
from springhouse_host.report import html, view
from springhouse_host.report.recorded import Recorded, record_run
from springhouse_host.sheet.advice import Limit
from springhouse_host.site import doubt, load_site
from springhouse_sim.watch import observe

NAMES = (
    "3 typical days from 26 August",
    "7 hottest days from 08 July",
    "compressor 20 % weaker",
    "mains away 10 min in the charge",
    "water on the floor, delivering",
)
# What the sizing sheet would say; its own numbers are tested elsewhere.
LIMITS = (Limit("cold of one charge", 0.81, "more water"), Limit("tray", 2.5, "a larger tray"))


EXPLORED = Explored("a slice", 1, 1, 1, 1, 1, None, 0, ())


def small_verdict(name: str = "demo") -> Verdict:
    """A verdict over five runs; checks that need no run stand in as passed."""
    site = load_site(name)
    every = placing.standard(site, variants=scenarios.MIDDLE)
    chosen = [next(s for s in every if s.name == wanted) for wanted in NAMES]
    runs = [running.run_one(name, scenario) for scenario in chosen]
    nominal = [scenarios.without_store(s) for s in chosen if s.group == "nominal"]
    seen = (1,) * observe.COUNTS
    random = RandomRun(1, seen, (0,) * observe.COUNTS, ())
    proven = Induction((ClaimResult("step", "a query", 1, "folds", True),))
    alone = Alone(Complete(1, 1, 1, ()), random, Checked((EXPLORED,), ()), proven)
    points = [replace(s, days=1) for s in plausible.drawn_scenarios(site, 16)]
    sample = plausible.Sample(
        site.promises(),
        doubt.doubts(site),
        tuple(s.draw for s in points),
        tuple(plausible.run_some(name, points, site.changed)),
        (),
        site.file.promises.plausible_share_percent,
    )
    return Verdict(
        site=site,
        judged=tuple(judge(promise, runs) for promise in site.promises()),
        held=tally(runs, alone),
        results=tuple(runs),
        bare=tuple(running.run_one(name, scenario) for scenario in nominal),
        alone=alone,
        replayed=Replay(1, 0),
        ran=sources.read(site),
        sample=sample,
    )


def recorded(verdict: Verdict, us: bool = False) -> list[Recorded]:
    """The runs of the verdict as a report keeps them."""
    return [record_run(verdict.site.path, r.scenario, True, us) for r in verdict.results]


def page_of(verdict: Verdict, runs: list[Recorded], us: bool = False, first: int = 1) -> str:
    """The page of the small proof."""
    sheets: Any = {"low": SimpleNamespace(limits=LIMITS)}
    sizing: Any = SimpleNamespace(sheets=sheets)
    return html.render(view.of_proof(verdict, runs, sizing, us, first))


class Page(HTMLParser):
    """Tags with their attributes, and texts by the path of tags that hold them."""

    VOID = frozenset({"meta", "input", "line", "rect", "path"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[tuple[str, ...], str]] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == [], "a tag is never closed"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag, f"</{tag}> closes another tag"

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.texts.append((tuple(self._open), " ".join(data.split())))

    def of(self, *names: str) -> list[dict[str, str | None]]:
        """Attributes of all tags of these names."""
        return [attrs for tag, attrs in self.tags if tag in names]

    def rows(self) -> list[list[str]]:
        """The texts of each table row outside the runs that wait to be shown."""
        found: list[list[str]] = []
        for path, text in self.texts:
            if "template" in path or "tr" not in path:
                continue
            if path[-1] == "th" or (path[-1] == "button" and path[-2] == "th"):
                found.append([])
            if found:
                found[-1].append(text)
        return found
