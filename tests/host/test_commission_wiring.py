"""Commissioning: what the bucket told, in the wiring file that goes to the board."""

from pathlib import Path

import pytest
from springhouse.wiring import Wiring
from test_commission import FLOW_L_MIN
from test_commission import call as call  # the fixture


def test_the_measured_pulses_go_into_the_wiring_file(call, tmp_path: Path) -> None:
    """A bucket of 5 % more than the board showed: 450 pulses a litre are 429 (450 / 1.05)."""
    path = tmp_path / "wiring.json"
    before = '{"board": "pico_w",\n "flow_pulses_l" : 450, "rtc": "ds3231"}\n'
    path.write_text(before)
    shown = f"{FLOW_L_MIN / 1.05:.4f}"
    typed = f"{shown}\n{FLOW_L_MIN:.4f}\n60\n"  # the pulses now are not asked
    code, out, _ = call("--only", "flow", "--wiring", "wiring.json", typed=typed)
    assert code == 1, "other steps are open"
    assert "flow_pulses_l 429" in out
    assert path.read_text() == before.replace("450", "429")
    assert Wiring(path.read_text()).number["flow_pulses_l"] == 429
    code, out, _ = call("--only", "board_off", "--wiring", "wiring.json", typed="yes\n")
    assert "flow_pulses_l" not in out, "nothing new"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('{"board": "pico_w"}', "missing or 0"),
        ('{"board": "pico_w", "flow_pulses_l": 20000}', "whole number 0..10000"),
        ("[]", "no table"),
        (None, "cannot be read"),
    ],
)
def test_a_wiring_file_the_board_would_not_take_is_one_line(
    call, tmp_path: Path, text: str | None, says: str
) -> None:
    if text is not None:
        (tmp_path / "wiring.json").write_text(text)
    code, _, err = call("--only", "flow", "--wiring", "wiring.json")
    assert (code, len(err)) == (2, 1)
    assert says in err[0]
