"""The handbook is true: its commands run, its options exist, no word of the board is left out."""

import re
import shlex
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer
from springhouse import command, why, words
from springhouse.code import verify
from springhouse.record import Record
from springhouse.wiring import Wiring
from springhouse_host import cli

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = sorted(DOCS.glob("*.md"))
TROUBLE = (DOCS / "when-it-goes-wrong.md").read_text("utf-8")
PACKED_ENTRY = 10  # bytes of a range: slot, lowest, highest
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
        assert shown.index("attic: DEPENDS ON") < shown.index("attic: KEPT - ESTIMATE")


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
        params = known[parts[0]].params
        options = {name for p in params for name in (*p.opts, *p.secondary_opts)} | {"--help"}
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


def row(first: str, text: str = TROUBLE) -> str:
    """The table row that begins with a cell."""
    found = [line for line in text.splitlines() if line.startswith(f"| {first} |")]
    assert len(found) == 1, first
    return found[0]


# Heading of the words page: every word of the board that stands under it.
WORDS = {
    "What each side does": (*words.STORE_STATES, *words.ROOM_STATES),
    "Owner's modes": words.MODES,
    "Why": tuple(because for _, because in why.REASONS),
    "What is held back": why.LOCKS,
}


@pytest.mark.parametrize("heading", WORDS)
def test_every_word_of_the_board_is_explained_and_no_other(heading: str) -> None:
    page = (DOCS / "words.md").read_text("utf-8")
    part = page.partition(f"## {heading}\n")[2].partition("\n## ")[0]
    for word in WORDS[heading]:
        assert len(row(word, part).split("|")[2].split()) >= 1, word
    told = re.findall(r"^\| ([^|]+) \|", part, re.M)
    heads = {"store side", "room side", "mode", "reason", "held back"}
    assert set(told) - heads == set(WORDS[heading])


def test_what_a_side_does_is_one_of_its_few_words() -> None:
    """The first half of a reason needs no row of its own: a state, a mode, or plain English."""
    plain = {"off", "locked", "stopped", "waiting", "resting", "starting", "purging"}
    states = {*words.STORE_STATES, *words.ROOM_STATES}
    assert {does for does, _ in why.REASONS} <= plain | states


def safe_texts() -> Iterator[str]:
    """Every text with which the board can go into safe mode, each made by what makes it."""
    source = (ROOT / "firmware/springhouse/app.py").read_text("utf-8")
    why_safe = source.partition("def why_safe")[2].partition("\nasync def")[0]
    yield from re.findall(r'return "(.+)"', why_safe)
    for text in (
        "{", "[]", '{"x": 1}', '{"probe_s": 9}', '{"board": "toaster"}', '{"probes": 1}',
        '{"probes": {"door": "0"}}', '{"probes": {"room": "zz"}}', '{"probes": {"room": "air"}}',
        '{"probes": {"room": "2801102030400060", "coil_in": "2801102030400060"}}',
        '{"offsets": 1}',
    ):  # fmt: skip
        yield Wiring(text).fault
    record = Record()
    yield record.fault
    body = record.encode()
    for bad in (
        b"", b"\xff" + body[1:], body + b"x", body[:4] + b"\xff" * 8 + body[12:],
        body[:2] + b"\x01\x00" + body[4:-64] + b"\xff" * PACKED_ENTRY + body[-64:],
    ):  # fmt: skip
        yield record.decode(bad)


def verified(folder: Path) -> Iterator[str]:
    """What the check of the code folder can say."""
    for text in ("{", '{"firmware_sha256": "00", "files": {"main.py": "00"}}'):
        (folder / "manifest.json").write_text(text)
        yield verify(str(folder))[1]


def test_every_reason_of_the_safe_mode_has_a_row(tmp_path) -> None:
    part = TROUBLE.partition("## Safe mode\n")[2].partition("\n## ")[0]
    cells = [line.split("|")[1] for line in part.splitlines() if line.startswith("| ")][1:]
    # A comma may be part of a text: commas of the cell part texts only where none swallows them.
    patterns = [
        re.escape(text.strip()).replace(r"\.\.\.", ".+")
        for cell in cells
        for text in cell.split(", ")
    ]
    texts = [*safe_texts(), *verified(tmp_path)]
    assert len(texts) > 20
    for text in texts:
        assert text, "no fault where one was made"
        assert any(re.fullmatch(pattern, text) for pattern in patterns), text


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
