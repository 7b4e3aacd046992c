"""What the handbook's site is made of: drawings of rows, a page a command, examples that run."""

from __future__ import annotations

import doctest
import re
from importlib import import_module
from pathlib import Path
from typing import Any

import commands
import installations
import pytest
import stage
import statechart
import typer
from chromium import DESK, Window, browser
from springhouse_host import cli
from springhouse_host.site.site import BUILT_IN

ROOT = Path(__file__).parents[2]
SITE = ROOT / "build/handbook/site"
REGIONS = (statechart.STORE, statechart.ROOM)
KNOWN: dict[str, Any] = typer.main.get_command(cli.build_app()).commands  # type: ignore[attr-defined]


def numbers(drawing: str) -> list[int]:
    """The rows' numbers on a drawing, its spans written out."""
    found = []
    for label in re.findall(r'fill="#234">([0-9, -]+)<', drawing):
        for part in label.split(", "):
            first, _, last = part.partition("-")
            found += range(int(first), int(last or first) + 1)
    return sorted(found)


@pytest.mark.parametrize("region", REGIONS, ids=lambda region: region.name)
def test_the_drawing_in_the_handbook_is_that_of_the_rows(region) -> None:
    drawn = (ROOT / f"docs/statechart-{region.name.split()[0]}.svg").read_text("utf-8")
    assert drawn == statechart.drawing(region), "python handbook/statechart.py docs"


@pytest.mark.parametrize("region", REGIONS, ids=lambda region: region.name)
def test_each_row_stands_on_its_arrows_and_in_one_line(region) -> None:
    drawn = numbers(statechart.drawing(region))
    from_all = statechart.everywhere(region)
    for n, row in enumerate(region.rows, 1):
        assert drawn.count(n) == (1 if row[3] in from_all else row[0].bit_count()), n
    assert set(drawn) == {*range(1, len(region.rows) + 1)}
    lines = statechart.table(region).splitlines()[2:]
    assert [line.split(" | ")[0] for line in lines] == [
        f"| {n}" for n in range(1, len(region.rows) + 1)
    ]


def test_a_row_of_the_table_names_its_conditions() -> None:
    rows = statechart.table(statechart.STORE).splitlines()[2:]
    assert rows[6 - 1] == "| 6 | chilling the store | keeping cold | bar run | - |"
    assert rows[3 - 1] == "| 3 | keeping cold, chilling the store | freeze guard | freeze | - |"


@pytest.mark.parametrize("name", KNOWN)
def test_the_page_of_a_command_has_all_that_its_help_has(name: str) -> None:
    page = commands.page(name, KNOWN[name])
    for param in KNOWN[name].params:
        if not param.hidden:
            word = commands.name(param).replace("|", "\\|")
            assert f"\n| {word} | " in page, word
            assert param.param_type_name == "argument" or f"`{param.opts[0]}`" in word
    assert page.count("\nspringhouse ") == 1 + KNOWN[name].help.count("Example:")


def test_an_installation_without_a_story_of_its_own_is_told_by_its_file(tmp_path) -> None:
    for word in BUILT_IN:
        story = installations._story(tmp_path / f"{word}.md")
        assert story.startswith(f"# {word}\n\n")
        assert len(story.split()) > 15
        assert "[site]" not in story


MODULES = [module for _, modules in stage.API.values() for module in modules]
WITH_EXAMPLES = [m for m in MODULES if m != "springhouse_host.notebook"]  # test_notebook.py's


def test_the_examples_of_the_reference_run() -> None:
    tried = 0
    for name in WITH_EXAMPLES:
        result = doctest.testmod(import_module(name))
        assert result.failed == 0, name
        tried += result.attempted
    assert tried >= 8


__all__ = ["browser"]  # a fixture


@pytest.mark.browser
def test_the_site_is_searched_from_its_files_and_asks_for_nothing_outside(browser) -> None:
    assert SITE.exists(), "make docs builds it, and make test-browser asks for that"
    window = Window(browser, **DESK)
    window.page.goto((SITE / "docs/decide.html").as_uri())
    window.page.click("input.md-search__input")
    window.page.type("input.md-search__input", "siphon break")
    window.page.wait_for_selector(".md-search-result__item")
    assert "cautions" in " ".join(
        link.get_attribute("href")
        for link in window.page.query_selector_all("a.md-search-result__link")
    )
    window.page.goto((SITE / "docs/how-the-proof-works.html").as_uri())
    wide = "[...document.images].map(image => image.naturalWidth)"
    assert all(width > 300 for width in window.page.evaluate(wide))
    assert [url for url in window.asked if not url.startswith("file:")] == []
    assert window.said == []
