"""The plan on the board: taken or refused whole, kept over a power cut, given in quarter hours."""

import contextlib
import json
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st
from springhouse import advice, reading
from springhouse import link as board_link
from springhouse import owner as board_owner
from springhouse.ahead import HIGHEST_MC, LOWEST_MC, QUARTERS, STEP_MC, Plan
from springhouse.clock import LEAST_MIN, Clock
from springhouse.record import Record
from springhouse.storage import TwoSlots
from torn_files import PowerCut, TornFiles

NOON_MIN = LEAST_MIN - LEAST_MIN % 1440 + 2160
NIGHT = [
    8,
    advice.WAIT,
    0,
    0,
    12,
    advice.CHARGE,
    1,
    4500,
    4,
    advice.NONE,
    0,
    0,
    2,
    advice.WAIT,
    1,
    0,
]

targets = st.integers(0, (HIGHEST_MC - LOWEST_MC) // STEP_MC).map(lambda n: LOWEST_MC + n * STEP_MC)
a_run = st.tuples(st.integers(1, 40), st.integers(0, 2), st.integers(0, 1), targets)
anything = st.lists(st.integers(-(1 << 29), 1 << 29), min_size=4, max_size=24).map(
    lambda found: found[: len(found) // 4 * 4]
)


class Board:
    """A plan on its board: an owner whose clock stands where it is put, and the readings."""

    def __init__(self, files: TornFiles | None = None) -> None:
        self.plan = Plan(TwoSlots("plan", files or TornFiles(False)))
        self.readings = array("i", [0] * reading.SIZE)
        record = Record()
        record.fault = ""
        self.owner = board_owner.Owner(
            Clock([], 0, True), record, TwoSlots("settings", TornFiles(False))
        )

    def take(self, from_min: int, runs: list[int], now_min: int) -> str:
        self.owner.clock.utc_min = now_min
        return self.plan.take(from_min, runs, self.owner)

    def advise(self, utc_min: int) -> None:
        self.plan.advise(utc_min, self.readings)

    def runs(self, now_min: int) -> list[int]:
        return self.plan.runs(now_min)

    @property
    def quarters(self) -> bytearray:
        return self.plan.quarters

    @property
    def what(self) -> int:
        return self.readings[reading.ADVICE]

    @property
    def seq(self) -> int:
        return self.readings[reading.ADVICE_SEQ]


def plan(files: TornFiles | None = None) -> Board:
    return Board(files)


def advised(made: Board, utc_min: int) -> tuple[int, int, int, int]:
    made.advise(utc_min)
    r = made.readings
    target_mc = r[reading.ADVICE_MC] if made.what == advice.CHARGE else 0
    return made.what, r[reading.ADVICE_WANTED], target_mc, r[reading.ADVICE_MIN]


def test_each_quarter_hour_is_advised_once_and_for_itself() -> None:
    made = plan()
    assert made.take(NOON_MIN, NIGHT, NOON_MIN + 7) == ""
    assert advised(made, NOON_MIN + 7) == (advice.WAIT, 0, 0, 8)
    seq = made.seq
    made.advise(NOON_MIN + 14)
    assert made.seq == seq
    assert advised(made, NOON_MIN + 15) == (advice.WAIT, 0, 0, 15)
    assert made.seq == seq + 1
    assert advised(made, NOON_MIN + 120) == (advice.CHARGE, 1, 4500, 15)
    assert advised(made, NOON_MIN + 300)[0] == advice.NONE
    assert advised(made, NOON_MIN + 360) == (advice.WAIT, 1, 0, 15)
    seq = made.seq
    assert advised(made, NOON_MIN + 390)[0] == advice.NONE  # said once, so that nothing lingers
    assert made.seq == seq + 1
    made.advise(NOON_MIN + 5000)
    assert made.seq == seq + 1


def test_a_plan_taken_within_a_quarter_hour_is_advised_at_once() -> None:
    made = plan()
    assert made.take(NOON_MIN, NIGHT, NOON_MIN) == ""
    assert advised(made, NOON_MIN + 3)[0] == advice.WAIT
    assert made.take(NOON_MIN, [8, advice.CHARGE, 0, 5000], NOON_MIN + 4) == ""
    assert advised(made, NOON_MIN + 5) == (advice.CHARGE, 0, 5000, 10)


def test_a_clock_that_is_lost_or_jumps_takes_the_advice_with_it() -> None:
    made = plan()
    made.take(NOON_MIN, NIGHT, NOON_MIN)
    assert advised(made, NOON_MIN)[0] == advice.WAIT
    assert advised(made, -1)[0] == advice.NONE
    assert advised(made, NOON_MIN + 150)[0] == advice.CHARGE
    assert advised(made, NOON_MIN - 6000)[0] == advice.NONE
    assert advised(made, NOON_MIN)[0] == advice.WAIT


def test_a_line_replaces_what_lies_behind_its_beginning() -> None:
    made = plan()
    made.take(NOON_MIN, NIGHT, NOON_MIN)
    assert made.take(NOON_MIN + 60, [2, advice.CHARGE, 0, 5000], NOON_MIN + 20) == ""
    assert made.runs(NOON_MIN + 20) == [3, advice.WAIT, 0, 0, 2, advice.CHARGE, 0, 5000]


@pytest.mark.parametrize(
    ("from_min", "runs", "now_min", "says"),
    [
        (NOON_MIN, NIGHT, -1, "clock unknown"),
        (NOON_MIN + 1, NIGHT, NOON_MIN, "minute of a quarter hour"),
        (NOON_MIN - 15, NIGHT, NOON_MIN, "now .. 48 h ahead"),
        (NOON_MIN + 2880, NIGHT, NOON_MIN, "now .. 48 h ahead"),
        (NOON_MIN + 2880 - 60, NIGHT, NOON_MIN, "beyond 48 h"),
        (NOON_MIN, [0, advice.WAIT, 0, 0], NOON_MIN, "quarter hours, advice"),
        (NOON_MIN, [1, advice.SIZE, 0, 0], NOON_MIN, "quarter hours, advice"),
        (NOON_MIN, [1, advice.WAIT, 2, 0], NOON_MIN, "quarter hours, advice"),
        (NOON_MIN, [1, advice.CHARGE, 0, 4499], NOON_MIN, "steps of 250"),
        (NOON_MIN, [1, advice.CHARGE, 0, LOWEST_MC - STEP_MC], NOON_MIN, "target -1000.."),
        (NOON_MIN, [1, advice.CHARGE, 0, HIGHEST_MC + STEP_MC], NOON_MIN, "target -1000.."),
    ],
)
def test_a_plan_that_cannot_be_meant_is_refused_and_the_one_in_force_stays(
    from_min: int, runs: list[int], now_min: int, says: str
) -> None:
    made = plan()
    made.take(NOON_MIN, NIGHT, NOON_MIN)
    before = bytes(made.quarters), made.plan.first_min
    assert says in made.take(from_min, runs, now_min)
    assert (bytes(made.quarters), made.plan.first_min) == before


@given(runs=st.lists(a_run, min_size=1, max_size=12), late=st.integers(0, 200))
def test_what_was_taken_is_what_is_advised(runs: list[tuple[int, ...]], late: int) -> None:
    """Quarter by quarter, against the runs spelled out by hand."""
    made = plan()
    quarters = [run[1:] for run in runs for _ in range(run[0])]
    fault = made.take(NOON_MIN, [n for run in runs for n in run], NOON_MIN)
    assert (fault == "") == (len(quarters) <= QUARTERS)
    if fault:
        return
    what, wanted, target_mc, minutes = advised(made, NOON_MIN + 15 * late + 3)
    due = quarters[late] if late < len(quarters) else (advice.NONE, 0, 0)
    assert what == due[0]
    if what != advice.NONE:
        assert (wanted, minutes) == (due[1], 12)
        assert what == advice.WAIT or target_mc == due[2]


@given(runs=anything, from_min=st.integers(-(1 << 29), 1 << 29) | st.just(NOON_MIN))
def test_no_line_of_numbers_breaks_it(runs: list[int], from_min: int) -> None:
    made = plan()
    made.take(NOON_MIN, NIGHT, NOON_MIN)
    before = bytes(made.quarters)
    if made.take(from_min, runs, NOON_MIN):
        assert bytes(made.quarters) == before
    for minute in range(0, 3000, 15):
        made.advise(NOON_MIN + minute)
        assert advice.NONE <= made.what < advice.SIZE
        assert (
            made.what != advice.CHARGE
            or LOWEST_MC <= made.readings[reading.ADVICE_MC] <= HIGHEST_MC
        )


@given(runs=st.lists(a_run, min_size=1, max_size=4))
def test_what_is_told_is_what_would_be_taken(runs: list[tuple[int, ...]]) -> None:
    made, other = plan(), plan()
    made.take(NOON_MIN, [n for run in runs for n in run], NOON_MIN)
    told = made.runs(NOON_MIN)
    if told:
        assert other.take(NOON_MIN, told, NOON_MIN) == ""
    assert other.quarters == made.quarters


@pytest.mark.parametrize("eager", [True, False])
def test_a_plan_outlives_a_power_cut_at_every_step_the_old_one_or_the_new(eager: bool) -> None:
    files = TornFiles(eager)
    assert plan(files).take(NOON_MIN, NIGHT, NOON_MIN) == ""
    before = dict(files.kept)
    found = []
    while not found or found[-1] == NIGHT:
        files.kept = dict(before)
        made = plan(files.power(len(found)))
        with contextlib.suppress(PowerCut):
            assert made.take(NOON_MIN, [8, advice.CHARGE, 0, 5000], NOON_MIN) == ""
        found.append(plan(files.power(None)).runs(NOON_MIN))
    assert found[0] == NIGHT
    assert found[-1] == [8, advice.CHARGE, 0, 5000]
    assert len(found) > 100


def linked(with_plan: bool) -> tuple[board_link.Link, board_owner.Owner]:
    made = plan()
    owner = made.owner
    if with_plan:
        owner.plan = made.plan
    link = board_link.Link(owner)
    for _ in range(60):
        link.limit.second()
    return link, owner


def tell(link: board_link.Link, **command: object) -> dict[str, str]:
    line = json.dumps(command).encode() + b"\n"
    (answer,) = [a for byte in line if (a := link.feed(byte)) is not None]
    found: dict[str, str] = json.loads(answer)
    return found


def test_over_the_link() -> None:
    link, owner = linked(with_plan=True)
    asked: dict[str, object] = {"cmd": "plan", "from": NOON_MIN, "runs": NIGHT}
    assert tell(link, **asked) == {"refused": "clock unknown"}
    owner.set_time(NOON_MIN * 60, True)
    assert tell(link, **asked) == {"done": "plan"}
    assert tell(link, cmd="get-plan") == {"done": "get-plan"}
    assert link.wants_plan
    assert owner.plan is not None
    assert json.loads(owner.plan.line(NOON_MIN + 3)) == {"plan": NIGHT, "begin": NOON_MIN}
    assert json.loads(owner.plan.line(-1))["plan"] == []
    for runs, says in (([1, 2, 3], "whole numbers in pairs"), ([1, 2], "four numbers each")):
        assert says in tell(link, **{**asked, "runs": runs})["refused"]


def test_a_plan_for_which_memory_is_short_is_refused_and_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = plan()
    made.take(NOON_MIN, NIGHT, NOON_MIN)
    before = bytes(made.quarters)

    def short(_: bytes) -> bool:
        raise MemoryError

    monkeypatch.setattr(made.plan._slots, "save", short)
    assert "too little memory" in made.take(NOON_MIN, [8, advice.WAIT, 0, 0], NOON_MIN)
    assert bytes(made.quarters) == before
    assert made.owner.shortages == 1


def test_a_board_whose_settings_allow_no_plan_says_so() -> None:
    link, owner = linked(with_plan=False)
    owner.set_time(NOON_MIN * 60, True)
    asked: dict[str, object] = {"cmd": "plan", "from": NOON_MIN, "runs": NIGHT}
    assert tell(link, **asked) == {"refused": "plan: the settings allow none"}
    assert tell(link, cmd="get-plan") == {"refused": "plan: the settings allow none"}
    assert not link.wants_plan
