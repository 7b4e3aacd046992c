"""The report in a real browser: `make test-browser`."""

from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from chromium import DESK, PHONE, SERIOUS, Window, browser
from report_case import NAMES, page_of, recorded, small_verdict
from springhouse_host.report import sweep_page
from springhouse_host.report.series import COLOURS
from springhouse_host.site import load_site
from test_sweep import KEYS, POINTS

pytestmark = pytest.mark.browser
__all__ = ["browser"]  # a fixture

PLOTS = ("room", "store", "ice", "coil", "heat", "power", "strips")
# The canvas of a plot: in the shadow of bokeh's elements.
INK = """key => {
  const find = root => root.querySelector('canvas') ?? [...root.querySelectorAll('*')]
    .filter(e => e.shadowRoot).map(e => find(e.shadowRoot)).find(c => c);
  const canvas = find(document.getElementById('plot-' + key));
  const pixels = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
  const colours = new Set();
  for (let i = 0; i < pixels.length; i += 4)
    if (pixels[i + 3] > 200) colours.add(pixels[i] + ',' + pixels[i + 1] + ',' + pixels[i + 2]);
  return [...colours];
}"""
# The picture of every plot, and the same once lines and bars are hidden.
PICTURES = """() => {
  const find = root => root.querySelector('canvas') ?? [...root.querySelectorAll('*')]
    .filter(e => e.shadowRoot).map(e => find(e.shadowRoot)).find(c => c);
  return Object.fromEntries(Bokeh.documents[0].roots().map(
    p => [p.name, find(document.getElementById('plot-' + p.name)).toDataURL()]));
}"""
HIDE = """() => {
  for (const plot of Bokeh.documents[0].roots())
    for (const drawn of plot.renderers)
      if (['Line', 'HBar'].includes(drawn.glyph.type)) drawn.visible = false;
}"""
NEARER = """most => {
  const range = Bokeh.documents[0].roots()[0].x_range;
  return range.end - range.start < most;
}"""
RANGES = """() => Bokeh.documents[0].roots().map(p => [p.x_range.start, p.x_range.end])"""


@pytest.fixture(scope="module")
def paper(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    verdict = small_verdict()
    path.write_text(page_of(verdict, recorded(verdict)), "utf-8")
    return path


class Opened(Window):
    """The page in a window."""

    def __init__(self, browser: Any, paper: Path, **window: Any) -> None:
        self.address = paper.as_uri()
        super().__init__(browser, **window)
        self.page.goto(self.address)
        self.page.wait_for_selector("body[data-ready]", timeout=120_000)

    def ranges(self) -> list[list[float]]:
        return list(self.page.evaluate(RANGES))


@pytest.fixture(
    params=[(DESK, "light"), (DESK, "dark"), (PHONE, "light"), (PHONE, "dark")], ids=str
)
def opened(request: pytest.FixtureRequest, browser: Any, paper: Path) -> Iterator[Opened]:
    window, scheme = request.param
    found = Opened(browser, paper, color_scheme=scheme, **window)
    yield found
    found.context.close()


@pytest.fixture
def desk(browser: Any, paper: Path) -> Iterator[Opened]:
    found = Opened(browser, paper, color_scheme="light", **DESK)
    yield found
    found.context.close()


def test_drawn_without_a_word_and_without_a_network(opened: Opened) -> None:
    opened.page.wait_for_timeout(300)
    shown = opened.page.evaluate(PICTURES)
    opened.page.evaluate(HIDE)
    opened.page.wait_for_timeout(300)
    bare = opened.page.evaluate(PICTURES)
    assert sorted(shown) == sorted(PLOTS)
    assert [key for key in PLOTS if shown[key] == bare[key]] == [], "nothing was drawn there"
    assert opened.said == []
    assert opened.asked == [opened.address]
    assert not wider(opened)


def test_no_serious_finding_of_axe(opened: Opened) -> None:
    for summary in opened.page.locator("main > section > details > summary").all():
        summary.click()
    opened.page.locator("details.numbers summary").first.click()
    assert serious(opened) == []


def wider(opened: Opened) -> bool:
    """Whether the page is wider than the screen; on a phone innerWidth would grow with it."""
    width: int = opened.page.evaluate("document.documentElement.scrollWidth")
    return width > opened.page.viewport_size["width"]


def serious(opened: Opened) -> list[Any]:
    """Serious findings of axe-core, each with its first places."""
    axe = resources.files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    opened.page.evaluate(axe)
    found = opened.page.evaluate("axe.run()")
    assert len(found["passes"]) > 20
    return [
        (v["id"], [n["target"] for n in v["nodes"]][:3])
        for v in found["violations"]
        if v["impact"] in SERIOUS
    ]


@pytest.mark.parametrize("keys", [KEYS[:1], KEYS], ids=["line", "map"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_sweeps_page_is_drawn_without_a_word_and_without_a_network(
    browser: Any, tmp_path: Path, keys: tuple[str, ...], scheme: str
) -> None:
    paper = tmp_path / "sweep.html"
    paper.write_text(sweep_page.render(load_site("demo"), POINTS, keys, "one day"), "utf-8")
    opened = Opened(browser, paper, color_scheme=scheme, **PHONE)
    opened.page.wait_for_timeout(300)
    blue = COLOURS["blue"][scheme == "dark"]
    wanted = ",".join(str(int(blue[i : i + 2], 16)) for i in (1, 3, 5))
    for key in ("room_hours_over", "cost"):
        assert wanted in opened.page.evaluate(INK, key), "no line or disc in its colour"
    assert (opened.said, opened.asked) == ([], [opened.address])
    assert serious(opened) == []
    assert not wider(opened)
    opened.context.close()


def test_zoom_of_one_zooms_all(desk: Opened) -> None:
    whole = desk.ranges()
    desk.page.locator("#plot-store").scroll_into_view_if_needed()
    box = desk.page.locator("#plot-store").bounding_box()
    desk.page.mouse.move(box["x"] + 300, box["y"] + 80)
    desk.page.mouse.down()
    desk.page.mouse.move(box["x"] + 500, box["y"] + 90, steps=5)
    desk.page.mouse.up()
    desk.page.wait_for_function(NEARER, arg=0.5 * (whole[0][1] - whole[0][0]), timeout=20_000)
    near = desk.ranges()
    assert all(pair == near[0] for pair in near)
    assert near[0][1] - near[0][0] < 0.5 * (whole[0][1] - whole[0][0])
    desk.page.get_by_role("button", name="Whole run").click()
    assert desk.ranges() == whole
    desk.page.get_by_role("button", name="One day").click()
    assert [round(b - a) for a, b in desk.ranges()] == [86_400_000] * len(PLOTS)


def test_everything_is_reached_by_keyboard(desk: Opened) -> None:
    from playwright.sync_api import expect

    reached = set()
    for _ in range(80):
        desk.page.keyboard.press("Tab")
        reached.add(
            desk.page.evaluate("document.activeElement.id || document.activeElement.tagName")
        )
    controls = {"run", "earlier", "later", "closer", "wider", "day", "whole", "at", "SUMMARY"}
    assert controls <= reached
    length = desk.ranges()[0][1] - desk.ranges()[0][0]
    desk.page.locator("#closer").focus()
    desk.page.keyboard.press("Enter")
    near = desk.ranges()[0]
    assert near[1] - near[0] == pytest.approx(length / 2)
    before = desk.page.locator("#now-time").inner_text()
    desk.page.locator("#at").focus()
    desk.page.keyboard.press("PageDown")
    assert desk.page.locator("#now-time").inner_text() != before
    desk.page.locator("details.numbers summary").first.focus()
    desk.page.keyboard.press("Enter")
    rows = desk.page.locator("details.numbers table").first.locator("tbody tr")
    expect(rows).to_have_count(7)  # made when it is opened, a moment later


def test_another_run_is_shown_on_demand(desk: Opened) -> None:
    before = desk.page.locator("#told-room").inner_text()
    desk.page.locator("#run").select_option(label=NAMES[3])
    desk.page.wait_for_function(
        "name => document.querySelector('#sums-name').textContent === name", arg=NAMES[3]
    )
    assert desk.page.locator("#told-room").inner_text() != before
    assert "Mains is away for 0.2 h" in desk.page.locator("#told-strips").inner_text()
    assert desk.page.locator(".legend [data-strip=away]").first.is_visible()
    assert desk.said == []


def test_the_store_follows_the_moment(desk: Opened) -> None:
    """The page's own decoding and the numbers in words come by two ways from the same run."""
    coldest = desk.page.evaluate("Math.min(...run.columns.water_0_c)")
    row = desk.page.evaluate("run.columns.water_0_c.indexOf(Math.min(...run.columns.water_0_c))")
    desk.page.locator("#at").fill(str(row))
    assert desk.page.locator("#layer-0").text_content() == f"{coldest:.1f} °C"
    before = desk.page.locator("#now-time").inner_text()
    desk.page.locator("#plot-room").scroll_into_view_if_needed()
    box = desk.page.locator("#plot-room").bounding_box()
    desk.page.mouse.move(box["x"] + 900, box["y"] + 100)
    desk.page.wait_for_timeout(200)
    assert desk.page.locator("#now-time").inner_text() != before


def test_colours_follow_the_page(desk: Opened) -> None:
    light = set(desk.page.evaluate(INK, "room"))
    desk.page.emulate_media(color_scheme="dark")
    desk.page.wait_for_timeout(300)
    night = set(desk.page.evaluate(INK, "room"))
    assert "27,27,27" in light  # ink of series.COLOURS, #1b1b1b and #ececec
    assert "236,236,236" in night
    assert "27,27,27" not in night
