"""What the commands print on a screen of 80 columns: no word is broken, no line runs over."""

from __future__ import annotations

import shlex

import pytest
from springhouse_host import cli, screen
from springhouse_host.commands.compare import headers

WIDE, NARROW = 500, 80
LINES = (
    "size demo --all",
    "size den-120v --explain --units us",
    "wiring demo",
    "run --faults",
    "season close demo --record season.json",
    "new my-store --unweighed --with store.water_litres=140",
    "compare demo --with coil.fans=3 --with 'coil.rows=6; loop.tube_bore_mm=12'",
)


def printed(line: str, columns: int, folder, monkeypatch, capsys) -> str:
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.setattr(screen, "PIPED_WIDTH", columns)
    cli.run(shlex.split(line))
    return capsys.readouterr().out


@pytest.mark.parametrize("line", LINES, ids=lambda line: line.split()[0] + line[-8:])
def test_no_word_is_broken(line: str, tmp_path, monkeypatch, capsys) -> None:
    wide = printed(line, WIDE, tmp_path / "wide", monkeypatch, capsys)
    narrow = printed(line, NARROW, tmp_path / "narrow", monkeypatch, capsys)
    whole = set(wide.split())
    assert len(whole) > 10
    assert [word for word in narrow.split() if word not in whole and set(word) != {"─"}] == []
    assert [row for row in narrow.splitlines() if len(row.rstrip()) > NARROW] == []
    assert "nan" not in narrow.replace("-", " ").split()


def test_long_changes_are_columns_by_letter() -> None:
    assert headers(["as it is", "coil.fans=3"]) == {
        "as it is": "as it is",
        "coil.fans=3": "coil.fans=3",
    }
    named = headers(["as it is", "coil.fans=3", "loop.tube_bore_mm=12"])
    assert [*named.values()] == ["as it is", "A", "B"]


def test_the_next_command_can_be_pasted(tmp_path, monkeypatch, capsys) -> None:
    shown = printed("new 'my cold store'", 80, tmp_path / "x", monkeypatch, capsys)
    assert shown.splitlines()[-1] == "next: springhouse size 'my cold store/site.toml'"
