"""The desk in a real browser: `make test-browser`. Pictures of it go into build/."""

from __future__ import annotations

import json
import re
import shlex
import time
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from chromium import DESK, PHONE, SERIOUS, Window, browser
from desk_case import Running, opened, own_site
from patience import HANG_S
from report_case import page_of, recorded, small_verdict
from springhouse_host.desk import choices, week, words
from springhouse_host.proof import running
from springhouse_host.site import Site, load_site

pytestmark = pytest.mark.browser
__all__ = ["browser"]  # a fixture

WAIT_MS = HANG_S * 1000
REPOSITORY = Path(__file__).parents[2]
PICTURES = REPOSITORY / "build"
SETTLED = "() => document.body.dataset.asked === document.body.dataset.shown"
SLIDERS = [c.key for c in choices.CHOICES.values() if c.high > 0.0]


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    folder = tmp_path_factory.mktemp("desk")
    with opened(str(own_site(folder)), cwd=folder) as found:
        yield found


class Page(Window):
    """The page in a window."""

    def __init__(self, browser: Any, address: str, **window: Any) -> None:
        self.address = address
        super().__init__(browser, **window)
        self.page.set_default_timeout(WAIT_MS)
        self.page.goto(address)
        self.settle()

    def settle(self) -> None:
        self.page.wait_for_selector("body[data-shown]")
        self.page.wait_for_function(SETTLED)

    def rows(self, name: str) -> list[list[str]]:
        found: list[list[str]] = self.page.evaluate(
            "name => [...document.querySelectorAll(`#${name} tbody tr`)]"
            ".map(row => [...row.cells].map(cell => cell.textContent))",
            name,
        )
        return found

    def width(self) -> tuple[int, int]:
        wide, window = self.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        return wide, window


@pytest.fixture(
    params=[(DESK, "light"), (DESK, "dark"), (PHONE, "light"), (PHONE, "dark")], ids=str
)
def any_page(request: pytest.FixtureRequest, browser: Any, desk: Running) -> Iterator[Page]:
    window, scheme = request.param
    found = Page(browser, desk.address, color_scheme=scheme, **window)
    yield found
    found.context.close()


@pytest.fixture
def page(browser: Any, desk: Running) -> Iterator[Page]:
    found = Page(browser, desk.address, color_scheme="light", **DESK)
    yield found
    found.context.close()


def figures(site: Site) -> list[list[str]]:
    """The week's figures as the command line's own runs give them."""
    weeks = [
        week.of_trace(site, one, running.bench(site, one).run(7)) for one in week.scenarios(site)
    ]
    rows: list[list[str]] = words.of_week(site, weeks, False)["figures"]["rows"]
    return rows


def test_drawn_without_a_word_and_without_a_network(any_page: Page) -> None:
    assert any_page.said == []
    assert all(url.startswith(any_page.address) for url in any_page.asked)
    wide, window = any_page.width()
    assert wide <= window, "the page is wider than the screen"
    for chart in ("room-chart", "store-chart", "drawing"):
        drawn = any_page.page.locator(f"#{chart} path").count()
        assert drawn >= 3, chart


def test_no_serious_finding_of_axe(any_page: Page) -> None:
    any_page.page.locator("#parts table").wait_for()
    any_page.page.locator("#coil-rows").fill("99")
    any_page.page.locator("#coil-rows").press("Enter")
    any_page.page.locator("#coil-rows-wrong").wait_for(state="visible")
    axe = resources.files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    any_page.page.evaluate(axe)
    found = any_page.page.evaluate("axe.run()")
    assert len(found["passes"]) > 20
    assert [
        (v["id"], [n["target"] for n in v["nodes"]][:3])
        for v in found["violations"]
        if v["impact"] in SERIOUS
    ] == []


@pytest.mark.parametrize("key", SLIDERS)
def test_each_slider_moved_gives_the_command_line_s_figures(
    page: Page, desk: Running, key: str
) -> None:
    slider = page.page.locator(f"#{key.replace('.', '-')}-slider")
    slider.focus()
    slider.press("ArrowRight")
    if page.page.evaluate("Number(document.body.dataset.asked)") == 1:  # it stood at its end
        slider.press("ArrowLeft")
    value = float(slider.input_value())
    page.page.wait_for_function(
        "() => document.body.dataset.refused === document.body.dataset.asked"
        " || document.body.dataset.shown === document.body.dataset.asked"
    )
    path = page.page.locator("#from").inner_text().split(",")[0]
    if page.page.locator("[aria-invalid]").count():
        told = page.page.locator(".field .wrong:visible").all_inner_texts()
        with pytest.raises(Exception, match=re.escape(told[0])):
            load_site(path, choices.changes_of(load_site(path), {key: value}, False))
        return
    site = load_site(path, choices.changes_of(load_site(path), {key: value}, False))
    assert page.rows("figures") == figures(site)
    assert page.page.locator("#changed").inner_text().startswith("Changed: ")


def test_a_slider_is_dragged_and_the_figures_follow(page: Page) -> None:
    box = page.page.locator("#store-water_litres-slider").bounding_box()
    y = box["y"] + box["height"] / 2
    before = int(page.page.evaluate("document.body.dataset.asked"))
    page.page.mouse.move(box["x"] + 0.7 * box["width"], y)
    page.page.mouse.down()
    for n in range(30):
        page.page.mouse.move(box["x"] + (0.7 - 0.01 * n) * box["width"], y)
        page.page.wait_for_timeout(20)
    page.page.mouse.up()
    page.settle()
    litres = page.page.locator("#store-water_litres").input_value()
    asked = int(page.page.evaluate("document.body.dataset.asked"))
    assert asked > before + 5
    texts = page.page.locator("#drawing text").all_text_contents()
    assert f"{float(litres):.3g} L of water" in texts


def test_a_bad_value_stands_beside_its_field_and_the_figures_stay(page: Page) -> None:
    before = page.rows("figures")
    field = page.page.locator("#store-water_litres")
    field.fill("900")
    field.press("Enter")
    wrong = page.page.locator("#store-water_litres-wrong")
    wrong.wait_for(state="visible")
    assert "store.water_litres: 900: at most 198 L" in wrong.inner_text()
    assert field.get_attribute("aria-invalid") == "true"
    assert page.rows("figures") == before
    page.page.locator("#heard", has_text="Refused: ").wait_for(state="attached")
    field.fill("35 US gal")
    field.press("Enter")
    page.settle()
    assert wrong.is_hidden()
    assert "132 L of water" in page.page.locator("#drawing text").all_text_contents()


def test_a_screen_reader_hears_the_answer(page: Page) -> None:
    heard = page.page.locator("#heard")
    page.page.locator("#heard", has_text="hottest week").wait_for(state="attached")
    assert heard.get_attribute("aria-live") == "polite"
    promised = page.page.get_by_role("slider", name="promised to stay below")
    for _ in range(3):  # half a kelvin each: 26.5 °C is below what it does
        promised.press("ArrowLeft")
    page.page.locator("#heard", has_text="No: ").wait_for(state="attached")
    assert heard.text_content() == page.page.locator("#answer").inner_text()


def test_everything_is_reached_by_keyboard(page: Page) -> None:
    reached = set()
    for _ in range(90):
        page.page.keyboard.press("Tab")
        reached.add(page.page.evaluate("document.activeElement.id"))
    ids = {key.replace(".", "-") for key in choices.CHOICES}
    assert ids | {f"{key.replace('.', '-')}-slider" for key in SLIDERS} <= reached
    assert {"prove", "back"} <= reached  # `keep` waits for a change


def test_the_server_cut_in_the_middle_is_told(browser: Any, tmp_path: Path) -> None:
    with opened("demo", cwd=tmp_path) as desk:
        page = Page(browser, desk.address, **DESK)
        slider = page.page.locator("#store-water_litres-slider")
        slider.press("ArrowRight")
        desk.process.kill()
        line = page.page.locator("#line", has_text="The desk does not answer")
        line.wait_for(state="visible")
        assert line.get_attribute("role") == "alert"
        assert page.page.locator("#answer").inner_text().startswith(("Yes", "So far"))
        slider.press("ArrowRight")  # does no harm
        errors = [text for text in page.said if "WebSocket" not in text]
        assert errors == []
        page.context.close()


def test_us_units_reach_the_whole_page(browser: Any, tmp_path: Path) -> None:
    with opened("demo", "--units", "us", cwd=tmp_path) as desk:
        page = Page(browser, desk.address, **DESK)
        page.page.locator("#sheet table").wait_for()
        field = page.page.locator("#store-water_litres")
        assert field.input_value() == "39.626"
        field.fill("42")
        field.press("Enter")
        page.settle()
        shown = page.page.locator("main").inner_text()
        assert "42 US gal of water" in " ".join(
            page.page.locator("#drawing text").all_text_contents()
        )
        assert re.findall(r"\d °C|\d L\b", shown.partition("What to measure")[0]) == []
        page.page.locator("#keep").click()
        page.page.locator("#kept", has_text="demo-2.toml").wait_for()
        assert 'water_litres = "42 US gal"' in (tmp_path / "demo-2.toml").read_text("utf-8")
        page.context.close()


@pytest.fixture
def report(tmp_path: Path) -> Path:
    """The page that `make prove` writes, of a small proof."""
    prove = re.search(r"^prove:.*\n((?:\t.*\n)+)", (REPOSITORY / "Makefile").read_text(), re.M)
    assert prove
    assert "springhouse prove $(SITE) " in prove[1]
    assert "--report build/report.html" in prove[1]
    verdict = small_verdict()
    path = tmp_path / "report.html"
    path.write_text(page_of(verdict, recorded(verdict)), "utf-8")
    return path


def test_a_newcomer_from_the_report_to_a_kept_change(
    browser: Any, report: Path, tmp_path: Path
) -> None:
    """The walk is timed and told, never judged; what is typed stands on the page before."""
    begun = time.perf_counter()
    steps = {}

    def step(name: str) -> None:
        steps[name] = round(time.perf_counter() - begun, 2)

    PICTURES.mkdir(exist_ok=True)
    read = Window(browser, color_scheme="light", **DESK)
    read.page.goto(report.as_uri())
    read.page.wait_for_selector("body[data-ready]", timeout=WAIT_MS)
    step("report open")
    read.page.screenshot(path=PICTURES / "walk-1-report.png")
    command = read.page.locator("#desk")
    command.scroll_into_view_if_needed()
    read.page.screenshot(path=PICTURES / "walk-2-what-to-type.png")
    program, word, *arguments = shlex.split(command.inner_text())
    assert (program, word) == ("springhouse", "desk")
    assert arguments.pop() == "--open"  # would open the browser of whoever sits there
    assert read.said == []
    read.context.close()
    step("command found")
    with opened(*arguments, cwd=tmp_path) as desk:
        step("address printed")
        page = Page(browser, desk.address, color_scheme="light", **DESK)
        step("first answer")
        page.page.screenshot(path=PICTURES / "walk-3-desk.png")
        page.page.get_by_role("slider", name="fans", exact=True).press("ArrowRight")
        page.settle()
        step("one fan more, answered")
        page.page.screenshot(path=PICTURES / "walk-4-one-fan-more.png")
        moved = []
        for _ in range(9):
            before = time.perf_counter()
            page.page.locator("#store-water_litres-slider").press("ArrowRight")
            page.settle()
            moved.append(time.perf_counter() - before)
        step("more water, nine times")
        page.page.locator("#parts table").wait_for()
        page.page.locator("summary", has_text="Plumbing").click()
        page.page.wait_for_function(
            "() => document.querySelector('#drawings img').naturalWidth > 100"
        )
        step("plumbing drawn")
        page.page.evaluate("scrollTo(0, 0)")
        page.page.screenshot(path=PICTURES / "desk.png", full_page=True)
        page.page.get_by_role("button", name="Keep this", exact=True).click()
        page.page.locator("#kept", has_text="Kept as demo-2.toml").wait_for()
        step("kept")
        page.page.locator("#kept").scroll_into_view_if_needed()
        page.page.screenshot(path=PICTURES / "walk-5-kept.png")
        assert page.said == []
        page.context.close()
        phone = Page(browser, desk.address, color_scheme="dark", **PHONE)
        phone.page.screenshot(path=PICTURES / "desk-phone.png")
        phone.context.close()
    kept = load_site(tmp_path / "demo-2.toml")
    assert kept.file.coil.fans == 3
    assert "# A home recording room" in (tmp_path / "demo-2.toml").read_text("utf-8")
    told = {"walk_s": steps, "slider_to_drawn_s": sorted(round(s, 3) for s in moved)}
    (PICTURES / "desk-walk.json").write_text(json.dumps(told, indent=2) + "\n", "utf-8")


@pytest.mark.slow
def test_proven_from_the_page(browser: Any, tmp_path: Path) -> None:
    with opened("demo", cwd=tmp_path) as desk:
        page = Page(browser, desk.address, **DESK)
        page.page.get_by_role("button", name="Prove it").click()
        page.page.locator("#doing", has_text=re.compile(r"proving: \d+ of \d+")).wait_for()
        page.page.locator("#proved", has_text="KEPT - ESTIMATE").wait_for()
        link = page.page.get_by_role("link", name="The report with all charts")
        link.wait_for()  # written after the verdict is told
        with page.context.expect_page(timeout=WAIT_MS) as opening:
            link.click()
        report = opening.value
        report.wait_for_selector("body[data-ready]", timeout=WAIT_MS)
        assert report.locator(".verdict").first.inner_text().startswith("Kept, in simulation")
        page.context.close()
