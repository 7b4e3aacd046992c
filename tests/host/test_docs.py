"""The handbook is true: its commands run, its options exist, no word of the board is left out."""

import re
import shlex
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer
from springhouse import command, words
from springhouse.wiring import Wiring
from springhouse_host import cli

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = sorted(DOCS.glob("*.md"))
TROUBLE = (DOCS / "when-it-goes-wrong.md").read_text("utf-8")
# Seconds of computing each; `make test` leaves them out, `make test-slow` runs all lines.
LONG = ("size", "compare", "prove", "watch", "history")


def lines(page: Path) -> Iterator[tuple[str, int]]:
    """Command lines of the page's sh blocks and the exit code the page says they leave with."""
    for block in re.findall(r"^```sh\n(.*?)^```", page.read_text("utf-8"), re.M | re.S):
        for line in block.splitlines():
            text, _, code = line.partition(" # leaves with ")
            yield text, int(code or 0)


def follow(
    page: Path, folder: Path, monkeypatch: pytest.MonkeyPatch, left_out: tuple[str, ...]
) -> int:
    """Run the lines of a page in a folder; return how many were not left out."""
    monkeypatch.chdir(folder)
    done = 0
    for line, code in lines(page):
        words_of_line = shlex.split(line)
        if words_of_line[0] != "springhouse":
            subprocess.run(line, shell=True, check=True, stdout=subprocess.DEVNULL)
        elif words_of_line[1] in left_out:
            continue
        else:
            assert cli.run(words_of_line[1:]) == code, line
        done += 1
    return done


WITH_LINES = [page for page in PAGES if list(lines(page))]


@pytest.mark.parametrize("page", WITH_LINES, ids=lambda page: page.stem)
def test_short_commands_of_a_page_run(page, tmp_path, monkeypatch) -> None:
    assert follow(page, tmp_path, monkeypatch, LONG) >= 1


def promises_pasted() -> list[str]:
    """Headline and promises of the demo's verdict as the README shows them."""
    text = (ROOT / "README.md").read_text("utf-8")
    pasted = text.partition("$ springhouse prove demo\n")[2].partition("\n  invariant ")[0]
    return [line for line in pasted.splitlines() if line]


@pytest.mark.slow
@pytest.mark.parametrize("page", WITH_LINES, ids=lambda page: page.stem)
def test_every_command_of_a_page_runs(page, tmp_path, monkeypatch, capsys) -> None:
    assert follow(page, tmp_path, monkeypatch, ()) == len(list(lines(page)))
    shown = capsys.readouterr().out
    if page.stem == "prove":
        assert set(promises_pasted()) <= {line.rstrip() for line in shown.splitlines()}
    if page.stem == "tutorial":
        assert shown.index("attic: NOT KEPT") < shown.index("attic: KEPT - ESTIMATE")


def mentioned() -> Iterator[tuple[str, list[str]]]:
    """Every `springhouse COMMAND ...` of handbook, README and wiring pages, with its page."""
    for page in (*PAGES, ROOT / "README.md", *(ROOT / "wiring").glob("*.md")):
        text = page.read_text("utf-8")
        for line in re.findall(r"(?:^|`|bin/|\$ )springhouse ([^`\n#|]+)", text, re.M):
            yield page.name, line.split()


def test_every_command_and_option_that_is_named_exists() -> None:
    program = typer.main.get_command(cli.build_app())
    known = program.commands  # type: ignore[attr-defined]
    seen = 0
    for page, parts in mentioned():
        if parts[0].startswith("--"):
            assert parts[0] in {name for param in program.params for name in param.opts}
            continue
        assert parts[0] in known, (page, parts)
        options = {name for param in known[parts[0]].params for name in param.opts} | {"--help"}
        given = {part.strip(",.;:") for part in parts if part.startswith("--")}
        assert given <= options, (page, parts)
        seen += 1
    assert seen > 40


def test_every_command_has_a_place_in_the_handbook() -> None:
    text = "".join(page.read_text("utf-8") for page in PAGES)
    known = typer.main.get_command(cli.build_app()).commands  # type: ignore[attr-defined]
    assert [name for name in known if f"springhouse {name}" not in text] == []


def anchors(page: Path) -> set[str]:
    """Headings of a page as links name them."""
    heads = re.findall(r"^#+ (.*)$", page.read_text("utf-8"), re.M)
    return {re.sub(r"[^a-z0-9 -]", "", head.lower()).replace(" ", "-") for head in heads}


@pytest.mark.parametrize(
    "page", [*PAGES, *ROOT.glob("*.md"), *(ROOT / "wiring").glob("*.md")], ids=lambda p: p.name
)
def test_links_lead_somewhere(page: Path) -> None:
    for link in re.findall(r"\]\(([^)\s]+)\)", page.read_text("utf-8")):
        name, _, anchor = link.partition("#")
        target = (page.parent / name) if name else page
        assert target.exists(), link
        assert not anchor or anchor in anchors(target), link


def row(first: str) -> str:
    """The table row that begins with a cell."""
    found = [line for line in TROUBLE.splitlines() if line.startswith(f"| {first} |")]
    assert len(found) == 1, first
    return found[0]


@pytest.mark.parametrize("word", [*words.LATCHES, *words.FAULTS[1:]])
def test_each_latched_fault_and_probe_fault_says_what_to_do(word: str) -> None:
    assert len(row(word).rstrip(" |").rsplit("|", 1)[1].split()) >= 2


def test_the_light_means_what_the_firmware_says() -> None:
    from springhouse.drivers import light

    codes = {light.WELL, light.CHARGING, light.BLIND, light.LOCKED, light.UNPROVEN}
    told = {1: "all well", 2: "chilled", 3: "not trusted", 4: "latched", 5: "not proven"}
    assert set(told) == codes
    for code, meaning in told.items():
        assert meaning in row(f"{code} flash{'es' if code > 1 else ''}").split("|")[2]
    assert light.SAFE not in told
    assert "safe mode" in row("steady").split("|")[2]


@pytest.mark.parametrize(
    "line",
    [b"{", b"[]", b'{"cmd": "fly"}', b'{"cmd": "ack", "x": 1}', b'{"cmd": "mode"}',
     b'{"cmd": "mode", "mode": "a"}', b'{"cmd": "set-time", "utc_s": 1, "sure": 1}',
     b'{"cmd": "set", "values": [1]}'],
)  # fmt: skip
def test_what_the_board_refuses_is_explained(line: bytes) -> None:
    _, fault = command.parse(line)
    assert fault
    known = [text.replace(" ...", "") for text in re.findall(r"`([^`]+)`", TROUBLE)]
    assert any(fault.startswith(text.rstrip(",")) for text in known if text), fault


def test_the_wiring_file_of_the_handbook_is_one() -> None:
    blocks = re.findall(r"```json\n(.*?)```", (DOCS / "build.md").read_text("utf-8"), re.S)
    assert [Wiring(text).fault for text in blocks] == [""]
