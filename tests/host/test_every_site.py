"""Built-in installations by commands: each cell a result or one line of refusal."""

import every_site
import pytest
from springhouse_host.site import BUILT_IN, load_site

# In full by `python tests/host/every_site.py`: here two cheap commands each, and a board once.
CELLS = [(site, command) for site in BUILT_IN for command in ("new", "wiring")]


@pytest.mark.parametrize(("site", "command"), [*CELLS, ("rented-room", "size")])
def test_a_cell_of_the_table(tmp_path, site: str, command: str) -> None:
    cell = every_site.tried(command, site, tmp_path)
    assert cell.sound, cell
    assert cell.code != 2, cell


def test_what_is_not_proven_is_not_flashed(tmp_path) -> None:
    cell = every_site.tried("flash", "den-120v", tmp_path)
    assert (cell.code, cell.sound) == (2, True), cell
    assert "den-120v.json" in cell.said


def test_a_crash_is_no_sound_cell() -> None:
    assert not every_site.Cell(3, "springhouse: internal error: no").sound
    assert not every_site.Cell(2, "first: line\nsecond: line").sound
    assert not every_site.Cell(-9, "").sound


def test_every_built_in_site_says_what_it_leaves_unguarded() -> None:
    for word in BUILT_IN:
        site = load_site(word)
        absent = [key for key, word in site.file.sensors.model_dump().items() if word == "absent"]
        assert len(site.unguarded()) >= min(1, len(absent))
