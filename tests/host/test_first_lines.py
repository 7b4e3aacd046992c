"""What the handbook shows of each command is what the command prints."""

from pathlib import Path

import first_lines
import pytest
from springhouse_host import cli

PAGE = (Path(__file__).parents[2] / "docs" / first_lines.PAGE).read_text("utf-8")
SHOWN = [
    pytest.param(shown, site, marks=() if shown.quick else pytest.mark.slow)
    for shown in first_lines.COMMANDS
    for site in shown.sites
]


@pytest.mark.parametrize(("shown", "site"), SHOWN, ids=lambda v: getattr(v, "words", v))
def test_first_lines_are_those_printed(shown, site, tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", str(first_lines.WIDTH))
    assert cli.run(shown.words.replace("SITE", site).split()) in (0, 1)
    printed = first_lines.first(capsys.readouterr().out)
    assert printed == first_lines.kept(PAGE, shown, site), "python handbook/first_lines.py docs"


def test_every_command_is_shown() -> None:
    for shown in first_lines.COMMANDS:
        for site in shown.sites:
            assert first_lines.kept(PAGE, shown, site)
