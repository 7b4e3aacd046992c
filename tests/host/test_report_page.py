"""The page of a report: its structure, its numbers, and that nothing in it can be outwitted."""

import json
import re
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st
from report_case import LIMITS, NAMES, Page, page_of, recorded, small_verdict
from si_left import si_left
from springhouse_host import cli
from springhouse_host.desk.proving import text_of
from springhouse_host.proof import show
from springhouse_host.proof.verdict import Verdict
from springhouse_host.report import html, view
from springhouse_host.report.recorded import Recorded


@pytest.fixture(scope="module")
def verdict() -> Verdict:
    return small_verdict()


@pytest.fixture(scope="module")
def runs(verdict: Verdict) -> list[Recorded]:
    return recorded(verdict)


@pytest.fixture(scope="module")
def text(verdict: Verdict, runs: list[Recorded]) -> str:
    return page_of(verdict, runs)


@pytest.fixture(scope="module")
def page(text: str) -> Page:
    return Page(text)


def test_nothing_is_fetched(page: Page) -> None:
    """No tag names a place outside the page, and the page's own policy forbids the network."""
    for tag, attrs in page.tags:
        for name in ("src", "href", "action", "srcset", "data", "poster", "background"):
            assert name not in attrs, (tag, attrs)
    policy = next(a for a in page.of("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert str(policy["content"]).startswith("default-src 'none'")
    assert page.of("link", "iframe", "img", "object", "base") == []


def test_names_and_ids_fit_together(page: Page) -> None:
    ids = [a["id"] for _, a in page.tags if "id" in a]
    assert len(set(ids)) == len(ids)
    for tag, attrs in page.tags:
        for name in ("aria-labelledby", "aria-describedby", "for"):
            for target in (attrs.get(name) or "").split():
                assert target in ids, (tag, name, target)
    labelled = {a["for"] for a in page.of("label")}
    for attrs in page.of("input", "select"):
        assert attrs["id"] in labelled
    pictures = [a for _, a in page.tags if a.get("role") == "img"]
    assert len(pictures) == 9  # the draws, seven charts and the store
    assert all("aria-labelledby" in a or "aria-label" in a for a in pictures)
    assert page.of("html")[0]["lang"] == "en"


def test_every_chart_has_a_sentence_and_numbers(page: Page, runs: list[Recorded]) -> None:
    captions = [t for path, t in page.texts if path[-1] == "figcaption"]
    assert captions[0].startswith("Each stroke is one plausible installation")
    assert captions[1:] == list(runs[1].sentences.values())
    assert len([a for a in page.of("details") if a.get("class") == "numbers"]) == len(captions) - 1


def test_promises_are_those_of_the_verdict(page: Page, verdict: Verdict) -> None:
    rows = page.rows()
    for judged in verdict.judged:
        name, bound, *rest = show.promise_cells(judged, us=False)
        side = "at least" if judged.promise.at_least else "at most"
        assert [name, f"{side} {bound[3:]}", *rest, judged.scenario] in rows
    assert any("Kept, in simulation" in t for _, t in page.texts) == verdict.kept


def test_each_draw_is_a_stroke_and_each_doubt_a_row(page: Page, verdict: Verdict) -> None:
    strokes = [a for a in page.of("line") if "draw" in (a.get("class") or "").split()]
    assert len(strokes) == len(verdict.sample.rows)
    broken = sum("broken" in (a["class"] or "") for a in strokes)
    assert broken == int((~verdict.sample.keeps).sum())
    along = [float(a["x1"] or "nan") for a in strokes]
    warmth = [row.warmth_c for row in verdict.sample.rows]
    assert np.argsort(along, kind="stable").tolist() == np.argsort(warmth, kind="stable").tolist()
    heads = [t for path, t in page.texts if path[-1] == "th"]
    assert all(doubted.words in heads for doubted in verdict.sample.doubts)


def test_the_tightest_promise_leads(page: Page, verdict: Verdict) -> None:
    lead = next(t for _, t in page.texts if t.startswith("Tightest: "))
    shares = {
        j.margin / j.promise.limit: j
        for j in verdict.judged
        if j.scenario != "all alike" and j.promise.limit
    }
    tightest = shares[min(shares)]
    assert tightest.promise.name in lead
    assert tightest.scenario in lead


def test_limits_say_what_to_change(page: Page) -> None:
    rows = page.rows()
    for limit in LIMITS:
        assert [limit.name, f"{limit.ratio:.2f}", limit.change] in rows


def test_faults_have_their_responses(page: Page, verdict: Verdict) -> None:
    rows = page.rows()
    assert len(verdict.responses()) == 3  # of mains away one, of a wet floor two
    for name, response in verdict.responses():
        cells = [name, *show.response_cells(response)]
        assert [" ".join(c.split()) for c in cells] in rows


def test_hashes_and_cautions_are_there(page: Page, verdict: Verdict) -> None:
    texts = [t for _, t in page.texts]
    for digest in (verdict.site.site_sha256, verdict.site.settings_sha256):
        assert digest in texts
    cautions = Path(__file__).parents[2] / "wiring" / "cautions.md"
    leads = re.findall(r"^\d+\. \*\*", cautions.read_text("utf-8"), re.M)
    assert len(view.cautions()) == len(leads) == 20
    for lead, _ in view.cautions():
        assert lead in texts


def test_every_run_can_be_chosen(page: Page) -> None:
    values = [a["value"] for a in page.of("option")]
    assert sorted(map(str, values)) == [str(i) for i in range(len(NAMES))]
    options = [t for path, t in page.texts if path[-1] == "option"]
    assert sorted(options) == sorted(NAMES)


def test_a_broken_promise_is_told(verdict: Verdict, runs: list[Recorded]) -> None:
    first = verdict.judged[0]
    promise = replace(first.promise, limit=99.9)
    judged = replace(
        first, promise=promise, worst=80.0, scenario=NAMES[2], why="the store was spent"
    )
    broken = replace(verdict, judged=(judged, *verdict.judged[1:]))
    page = Page(page_of(broken, runs))
    texts = [t for _, t in page.texts]
    assert "Not kept" in texts
    assert any(t.startswith(f"1 of {len(verdict.judged)} promises are broken") for t in texts)
    assert any("the store was spent" in t for t in texts)
    assert any("-19.9 % broken" in t for t in texts)


def test_too_few_plausible_installations_are_told(verdict: Verdict, runs: list[Recorded]) -> None:
    first = verdict.sample.promises[0]
    out_of_reach = replace(first, limit=1e9 if first.at_least else -1e9)
    sample = replace(verdict.sample, promises=(out_of_reach, *verdict.sample.promises[1:]))
    lead = page_of(replace(verdict, sample=sample), runs)
    count = len(sample.rows)
    assert f"Only 0 of {count} plausible installations keep them all; " in lead
    assert "plausible installations keep them all" not in page_of(verdict, runs)


HOSTILE = st.text(
    st.sampled_from("<>&\"'/!-{}%#`\\ scriptalet()=;𝕊\u2028"), min_size=1, max_size=40
)


class Small:
    """The small proof and its runs; says little of itself when a test fails."""

    def __init__(self, verdict: Verdict, runs: list[Recorded]) -> None:
        self.verdict, self.runs = verdict, runs
        self.about = view.about(verdict.site, us=False)
        self.plain = Page(self.page("name", "EUR"))

    def page(self, name: str, currency: str) -> str:
        made = view.of_run(self.verdict.site, replace(self.runs[0], name=name), us=False)
        about = replace(self.about, currency=currency)
        with patch.object(html, "_bokeh", lambda: ""):  # a megabyte that no name touches
            return html.render(replace(made, title=name, about=about))


@pytest.fixture(scope="module")
def small(verdict: Verdict, runs: list[Recorded]) -> Small:
    return Small(verdict, runs)


@settings(max_examples=6, phases=(Phase.explicit, Phase.generate))
@given(HOSTILE)
@example("</script><script>alert(1)</script>")
@example("{{ 7 * 7 }}<!-- \" onload='x'")
def test_a_hostile_name_stays_a_name(small: Small, name: str) -> None:
    """Site name, run name and currency come from a file that someone else may have written."""
    made = small.page(name, name)
    page = Page(made)
    assert [tag for tag, _ in page.tags] == [tag for tag, _ in small.plain.tags]
    shown = [t for path, t in page.texts if path[-1] == "h1"]
    assert shown == ([" ".join(name.split())] if name.strip() else [])
    data = re.search(r'<script type="application/json" id="page-data">(.*?)</script>', made, re.S)
    assert data is not None
    assert json.loads(data[1])["currency"] == name


def test_run_writes_a_report(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    paper, record = tmp_path / "r.html", tmp_path / "r.json"
    arguments = ["run", "demo", "--start", "2001-07-09", "--days", "1", "--units", "us"]
    assert cli.run([*arguments, "--report", str(paper), "--json", str(record)]) == 0
    capsys.readouterr()
    figures = json.loads(record.read_text("utf-8"))
    rows = Page(paper.read_text("utf-8")).rows()
    assert ["electricity", f"{figures['energy_kwh']:.2f} kWh"] in rows
    assert ["compressor starts", str(figures["starts"])] in rows
    mean_f = figures["wanted_mean_c"] * 1.8 + 32.0
    assert ["mean room temperature, wanted hours", f"{mean_f:.3g} °F"] in rows


def test_a_folder_that_is_not_there_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["run", "demo", "--report", "nowhere/r.html"]) == 2
    assert capsys.readouterr().err.startswith("nowhere/r.html: cannot be written")


def test_us_units_reach_every_sentence_and_cell(verdict: Verdict) -> None:
    page = Page(page_of(verdict, recorded(verdict, us=True), us=True))
    spoken = [text for path, text in page.texts if path[-1] not in ("script", "style")]
    assert [left for text in spoken for left in si_left(text)] == []
    assert si_left(text_of(verdict, us=True)) == []
    assert si_left(text_of(verdict, us=False)) != []
