"""Each page of a built-in installation tells its verdict: the first line, and the worst found."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from springhouse_host.notebook import prove
from springhouse_host.proof import catalogue, show
from springhouse_host.proof.responses import unanswered
from springhouse_host.proof.scenarios import without_reading
from springhouse_host.site import load_site

PAGES = sorted((Path(__file__).parents[2] / "docs" / "sites").glob("[!R]*.md"))
SAID = re.compile(r"`springhouse prove (\S+)` says \*\*(.*?)\*\*: (.*?)\n\n", re.S)
QUIET = {
    "off_gap_min_s": 600.0,
    "starts_per_hour_max": 1,
    "dry_seconds_max": 0,
    "max_ice_kg": 0.0,
    "spill_l": 0.0,
}


def told(page: Path) -> tuple[str, str, str]:
    """The site's word, the first line without its name, and the sentence behind it."""
    (found,) = SAID.findall(page.read_text("utf-8") + "\n\n")
    word, verdict, sentence = (" ".join(text.split()) for text in found)
    return word, verdict, sentence


def number(pattern: str, sentence: str) -> float:
    found = re.search(pattern, sentence)
    assert found, (pattern, sentence)
    return float(found[1])


def plausible(sentence: str) -> float:
    """Share of the plausible installations in which all is kept [%]."""
    found = re.search(r"kept in ([0-9]+) of ([0-9]+) plausible installations", sentence)
    assert found, sentence
    return 100.0 * int(found[1]) / int(found[2])


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_a_page_tells_what_is_not_guarded_and_keeps_to_its_promise(page: Path) -> None:
    word, verdict, sentence = told(page)
    assert word == page.stem
    site = load_site(word)
    bare = [case for case in catalogue.cases(site) if case.lacks]
    rows = [(case.name, unanswered(case.row, case.lacks, QUIET)) for case in bare]
    gaps = show.not_guarded(SimpleNamespace(site=site, responses=lambda: rows))  # type: ignore
    share = number(r"at worst ([0-9.]+) % of the wanted hours", sentence)
    limits = {promise.measure: promise.limit for promise in site.promises()}
    against = any(said in sentence for said in ("Not answered:", "Against it:"))
    holds = share >= limits["room_share_percent"] and not against
    enough = plausible(sentence) >= site.file.promises.plausible_share_percent
    begins = ("KEPT" if enough else "DEPENDS ON ") if holds else "NOT KEPT"
    hollow = "( - NOT SHOWN: [0-9]+ faults? with nothing to answer)?"
    wanted = f"{begins}.* - {site.evidence}{hollow}{re.escape(gaps)}"
    assert re.fullmatch(wanted, verdict)
    ice_kg = number(r"of ([0-9.]+) kg of ice", sentence)
    assert ice_kg == pytest.approx(limits["ice_kg"], abs=0.001)
    assert number(r"of ([0-9]+) s without flow", sentence) == limits["dry_run_s"]


@pytest.mark.slow
@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_the_verdict_is_as_the_page_says(page: Path) -> None:
    word, verdict, sentence = told(page)
    found = prove(word).verdict
    assert show.headline(found).endswith(f": {verdict}")
    worst = {judged.promise.measure: judged.worst for judged in found.judged}
    rows = found.responses()
    broken = {without_reading(name) for name, row in rows if not row.kept and not row.lacks}
    named = re.search(r"Not answered: (.*?)\. ", sentence)
    assert broken == (set(re.findall(r'"(.*?)"', named[1])) if named else set())
    share = number(r"at worst ([0-9.]+) % of the wanted hours", sentence)
    assert share == pytest.approx(worst["room_share_percent"], abs=0.1)
    assert plausible(sentence) == found.sample.share_percent
    assert number(r"([0-9.]+) of [0-9.]+ kg of ice", sentence) == pytest.approx(
        worst["ice_kg"], abs=0.01
    )
    assert number(r"([0-9]+) of [0-9]+ s without flow", sentence) == worst["dry_run_s"]
    assert number(r"off for ([0-9]+) s", sentence) == worst["off_gap_s"]
