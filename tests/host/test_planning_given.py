"""What is given to a board: the better way, its lines, and the clock that it keeps."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace

import pytest
from springhouse import reading
from springhouse.ahead import A_RUN, QUARTERS
from springhouse.link import A_MINUTE
from springhouse_host.errors import KnownError
from springhouse_host.flashing.flash import BoardFailure
from springhouse_host.planning import making, sending, telling
from springhouse_host.planning.making import Came
from springhouse_host.planning.presence import ClockChanges
from springhouse_host.site import load_site
from springhouse_sim import sense

START = datetime(2026, 7, 14, 16, tzinfo=UTC)


def came(cost: float, over_min: int) -> Came:
    return Came(cost, 1.0, over_min, 26.0, 2)


@pytest.mark.parametrize(
    ("fixed", "planned", "said"),
    [
        ([(1.0, 0)], [(0.8, 5)], ""),
        ([(1.0, 0)], [(0.8, 6)], "too warm 6 minutes longer"),
        ([(1.0, 0), (1.0, 60)], [(0.8, 0), (0.8, 90)], "too warm 30 minutes longer"),
        ([(1.0, 0)], [(1.1, 0)], "cost more"),
        ([(1.0, 60)], [(1.1, 50)], "cost more"),
        ([(1.0, 60)], [(1.1, 40)], ""),
    ],
)
def test_a_plan_is_refused_where_the_fixed_schedule_is_better(
    fixed: list[tuple[float, int]], planned: list[tuple[float, int]], said: str
) -> None:
    why = making._worse([came(*c) for c in fixed], [came(*c) for c in planned])
    assert (why == "") == (said == "")
    assert said in why


def test_where_no_plan_is_handed_out_the_lines_clear_the_one_on_the_board() -> None:
    case, made = SimpleNamespace(start=START), SimpleNamespace(quarters=())
    (line,) = telling.lines(case, made)  # type: ignore[arg-type]
    assert f'"runs":[{QUARTERS},0,0,0]' in line
    assert line.count(",") == 2 + A_RUN - 1


def test_the_clock_that_is_changed_is_the_boards() -> None:
    stage = SimpleNamespace(until=lambda ms: ms, sense=[0] * (reading.SIZE + 1))
    acts = ClockChanges([(3600, 3600), (7200, 0)]).act(stage)  # type: ignore[arg-type]
    assert next(acts) == 3_600_000
    assert stage.sense[sense.CLOCK_SHIFT_S] == 0
    assert next(acts) == 7_200_000
    assert stage.sense[sense.CLOCK_SHIFT_S] == 3600
    assert list(acts) == []
    assert stage.sense[sense.CLOCK_SHIFT_S] == 0


class FakeLine:
    """A board that answers each plan in turn."""

    def __init__(self, answers: list[dict | None]) -> None:
        self.answers, self.sent = answers, 0

    def __enter__(self) -> FakeLine:
        return self

    def __exit__(self, *_: object) -> None:
        return None

    def send(self, command: dict) -> None:
        assert command["cmd"] == "plan"
        self.sent += 1

    def wait(self, wanted, _timeout_s: float) -> dict | None:
        answer = self.answers[self.sent - 1]
        assert answer is None or wanted(answer)
        return answer


DONE = {"done": "plan"}


def give(monkeypatch, answers: list[dict | None]) -> list[float]:
    line = FakeLine(answers)
    paused: list[float] = []
    monkeypatch.setattr(sending, "Line", lambda port: line)
    monkeypatch.setattr(sending, "look_at", lambda *_: None)
    text = '{"cmd":"plan","from":0,"runs":[1,0,0,0]}'
    sending.send("port", load_site("demo"), [text] * len(answers), paused.append)
    assert line.sent == len(answers)
    return paused


def test_sending_keeps_to_the_boards_ration(monkeypatch) -> None:
    assert give(monkeypatch, [DONE] * (A_MINUTE - 2)) == []
    assert len(give(monkeypatch, [DONE] * (A_MINUTE + 1))) == 1


def test_a_refusal_of_the_first_line_leaves_the_plan_in_force(monkeypatch) -> None:
    with pytest.raises(KnownError, match="clock unknown; the plan in force stays"):
        give(monkeypatch, [{"refused": "clock unknown"}])
    with pytest.raises(BoardFailure):
        give(monkeypatch, [DONE, {"refused": "from"}])
    with pytest.raises(BoardFailure):
        give(monkeypatch, [None])
