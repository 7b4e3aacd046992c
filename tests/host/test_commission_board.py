"""Commissioning with a board: a made-up one whose records answer commands, one second a record."""

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from made_up_board import HEALTHY, Change, Hands, MadeUp
from springhouse import mode as modes
from springhouse import output as output_slot
from springhouse import setting
from springhouse_host import load_site
from springhouse_host.commissioning import answer_book, session, steps
from springhouse_host.commissioning.board import LinkedBoard
from springhouse_host.commissioning.person import Person
from springhouse_host.errors import KnownError
from springhouse_host.watching.board_record import parse

SITE = load_site("demo")


@pytest.fixture
def made() -> MadeUp:
    return MadeUp()


@pytest.fixture
def take(tmp_path: Path, made: MadeUp):
    """Work through one step with the made-up board; returns its answer."""
    book = answer_book.open_book(SITE, tmp_path / "r.json")

    def run(name: str, *answers: str | Change) -> answer_book.StepAnswer:
        said: list[str] = []
        person = Person(Hands(made, *answers), said.append, "saved")
        board = LinkedBoard(made, clock=lambda: float(made.up), sleep=lambda _s: None)
        step = steps.step_named(SITE, name)
        session.go(book, [step], person, board, date(2026, 5, 31))
        return answer_book.open_book(SITE, book.path).answers[name]

    return run


def at(second: int, change: Change) -> Change:
    """Make a change so many seconds after it is asked for."""

    def set_it(board: MadeUp) -> None:
        begun = board.up

        def act(now: MadeUp) -> None:
            if now.up == begun + second:
                change(now)

        board.each_second = act

    return set_it


def put(name: str, value: object) -> Change:
    return lambda board: setattr(board, name, value)


def test_records_are_those_of_the_link(made: MadeUp) -> None:
    assert parse(made.line(), 0.0) is not None


def warm(which: int) -> Change:
    def act(board: MadeUp) -> None:
        board.mc[which] += 60
        board.mc[1] += 5  # a hand in the store disturbs its neighbour

    return put("each_second", act)


def test_the_warm_hand_finds_the_probe(take) -> None:
    answer = take("probe_room", warm(2))
    assert answer.good
    assert (answer.by, answer.values) == ("board", {"moved": "room"})


def test_a_probe_in_anothers_place_is_told(take) -> None:
    answer = take("probe_room", warm(0))
    assert answer.values == {"moved": "store_low"}
    assert "store_low moved" in answer.wrong[0]


def test_a_store_that_is_stirred_tells_no_probe(take) -> None:
    def act(board: MadeUp) -> None:
        board.mc[0] += 60
        board.mc[1] += 40

    assert take("probe_store_low", put("each_second", act)).values == {"moved": "none"}


def test_a_hand_that_warms_nothing_moves_none(take) -> None:
    assert take("probe_room", lambda board: None).values == {"moved": "none"}


def test_ice_point_takes_ten_different_good_readings(take, made: MadeUp) -> None:
    seen = []

    def ice(board: MadeUp) -> None:
        board.mc[0] = -125 if board.up % 2 else -62
        board.bad[0] = int(board.up % 5 == 0)
        seen.append(board.up)

    made.each_second = ice
    answer = take("ice_point_store_low", lambda board: None)
    assert answer.good
    assert len(answer.values["readings"]) == 10
    assert set(answer.values["readings"]) == {-0.125, -0.062}, "no bad frame among them"
    assert seen[-1] - seen[0] >= 27, "three seconds apart"
    made.bad[0] = 1
    made.each_second = lambda board: None
    assert "0 good readings" in take("ice_point_store_low", lambda board: None).wrong[0]


OPENED = {"tray": 0b11101, "level": 0b11011, "floor": 0b10111, "mains": 0b11110}


@pytest.mark.parametrize("name", OPENED)
def test_a_contact_is_forced_once(take, made: MadeUp, name: str) -> None:
    at(5, put("inputs", OPENED[name]))(made)
    answer = take(f"alarm_{name}", put("inputs", HEALTHY))
    assert answer.values == {"seen": "yes", "off": "yes", "cleared": "yes"}
    assert made.commands == [{"cmd": "ack"}]


def test_a_contact_that_is_not_seen_or_takes_nothing_away(take, made: MadeUp) -> None:
    assert take("alarm_floor").values["seen"] == "no"
    made.stuck_out = output_slot.PUMP
    at(5, put("inputs", OPENED["floor"]))(made)
    answer = take("alarm_floor", put("inputs", HEALTHY))
    assert answer.values == {"seen": "yes", "off": "no", "cleared": "yes"}
    assert "do not use it" in answer.wrong[0]


@pytest.mark.parametrize(
    ("output", "mode"),
    [("compressor", modes.CHARGE_NOW), ("pump", modes.PURGE), ("fan", modes.COOL_NOW)],
)
def test_outputs_are_pulsed_by_modes_alone(take, made: MadeUp, output: str, mode: int) -> None:
    answer = take(f"pulse_{output}", "", "yes")
    assert answer.values == {"came_on": "yes", "seen": "yes", "went_off": "yes"}
    assert [c["cmd"] for c in made.commands] == ["mode"] * 3
    assert [c["mode"] for c in made.commands] == [mode, modes.OFF, modes.AUTOMATIC]


def test_an_output_that_stays_on_or_off(take, made: MadeUp) -> None:
    made.stuck_out = output_slot.PUMP
    answer = take("pulse_pump", "", "yes")
    assert answer.values["went_off"] == "no"
    assert not answer.good
    made.stuck_out, made.dead = 0, output_slot.PUMP
    assert take("pulse_pump", "").values["came_on"] == "no"
    assert made.mode == modes.AUTOMATIC


def test_a_warm_fill_is_charged_by_the_first_pull_down(take, made: MadeUp) -> None:
    made.mc[0] = made.mc[1] = 25000
    take("pulse_compressor", "")
    assert made.commands[0]["mode"] == modes.FIRST_PULL_DOWN


def test_purge_ends_when_the_flow_is_steady(take, made: MadeUp) -> None:
    begun = made.up

    def bubbles(board: MadeUp) -> None:
        board.flow = 1200 if board.up > begun + 100 or board.up % 3 else 300

    made.each_second = bubbles
    answer = take("purge", "", "yes")
    assert answer.good
    assert made.up >= begun + 130
    made.each_second = lambda board: setattr(board, "flow", 1250 + board.up % 9 * 60)
    assert take("purge", "", "yes").values["steady"] == "no"


def test_bucket_and_stopwatch_under_way_in_purge(take, made: MadeUp) -> None:
    bucket = 1.25
    answer = take("flow", "", "450", str(bucket), "60")
    assert answer.values["board_l_min"] == pytest.approx(1.2)
    assert answer.results["pulses_l"] == round(450 * 1.2 / bucket)
    assert made.mode == modes.AUTOMATIC


def test_the_pump_may_wait_as_long_as_the_tray_has_it_wait(take, made: MadeUp) -> None:
    begun, wait_s = made.up, SITE.settings()[setting.TRAY_RETURN_S]

    def waits(board: MadeUp) -> None:
        board.dead = output_slot.PUMP if board.up < begun + wait_s else 0

    made.each_second = waits
    assert take("pulse_pump", "", "yes").good
    begun = made.up
    assert take("flow", "", "450", "1.2", "60").values["board_l_min"] == pytest.approx(1.2)
    made.each_second = put("dead", output_slot.PUMP)
    with pytest.raises(KnownError, match="the pump does not run"):
        take("siphon", "")


def test_dry_run_stop(take, made: MadeUp) -> None:
    def runs_dry(board: MadeUp) -> None:
        ran = board.mode == modes.PURGE and board.up > begun + 14
        board.dry, board.dead = ran, output_slot.PUMP if ran else 0

    begun = made.up
    made.each_second = runs_dry
    assert take("dry_run", "", "").good
    assert made.commands[-1] == {"cmd": "ack"}
    made.each_second = lambda board: None
    made.dry, made.dead = False, 0
    assert take("dry_run", "", "").values == {"stopped": "no"}
    begun = made.up
    made.each_second = lambda board: setattr(
        board, "dead", output_slot.PUMP if board.up > begun + 14 else 0
    )
    assert take("dry_run", "", "").values == {"stopped": "no"}, "off, but not for want of water"


def test_leak_hour_lasts_an_hour_of_the_board(take, made: MadeUp) -> None:
    begun = made.up
    assert take("leak_hour", "", "0", "yes").good
    assert made.up >= begun + 3600
    answer = take("leak_hour", at(1800, put("inputs", OPENED["floor"])), "0", "yes")
    assert answer.values["quiet"] == "no"


def test_siphon_sees_flow_with_the_pump_off(take, made: MadeUp) -> None:
    assert take("siphon", "", "", "", "0").good
    assert [c["mode"] for c in made.commands] == [modes.PURGE, modes.OFF, modes.AUTOMATIC]
    real = made.line

    def runs_on() -> str:
        line = json.loads(real())
        return json.dumps({**line, "ml": 900})

    made.line = runs_on  # type: ignore[method-assign]
    assert take("siphon", "", "", "", "0").values["still"] == "no"


def test_outage_counts_from_the_return_of_power(take, made: MadeUp) -> None:
    begun = made.up
    wait_s = SITE.settings()[setting.MIN_OFF_S] - 60

    def life(board: MadeUp) -> None:
        board.inputs = OPENED["mains"] if begun + 10 <= board.up < begun + 70 else HEALTHY
        board.stuck_out = output_slot.COMPRESSOR if board.up >= begun + 70 + wait_s else 0

    made.each_second = life
    answer = take("outage")
    assert answer.values == {"waited_s": wait_s}
    assert "the off-time is" in answer.wrong[0]


def test_first_charge_counts_the_compressors_hours(take, made: MadeUp) -> None:
    def chills(board: MadeUp) -> None:
        if board.out & output_slot.COMPRESSOR:
            board.mc[0] -= board.up % 2
            board.mc[1] = board.mc[0]
        board.dead = output_slot.COMPRESSOR if board.up - 100 > 2 * 3600 else 0

    made.mc = [15000, 15000, 26000, 0, 0]
    made.each_second = chills
    answer = take("first_charge", "", "4", "24", "yes")
    assert answer.values["hours"] == pytest.approx(2.0, abs=0.02)
    assert answer.values["from_c"] == pytest.approx(15.0, abs=0.1)
    assert answer.values["to_c"] == pytest.approx(11.4, abs=0.1)


def test_a_first_charge_that_broke_off_goes_on(take, made: MadeUp, tmp_path: Path) -> None:
    """Killed after an hour, ten minutes unseen, the last line torn: 2 h in all, from the start."""

    def chills(board: MadeUp) -> None:
        board.mc[0] = board.mc[1] = 15000 - board.up // 2
        if board.up == 100 + 3600 and not kept:
            raise Killed

    class Killed(BaseException):
        pass

    kept: list[str] = []
    made.mc = [15000, 15000, 26000, 0, 0]
    made.each_second = chills
    with pytest.raises(Killed):
        take("first_charge", "", "2")
    path = tmp_path / "r.charge"
    kept += path.read_text().splitlines()
    assert len(kept) == pytest.approx(60, abs=2)
    path.write_text("\n".join([*kept, kept[-1][:5]]) + "\n")
    made.up += 600
    made.mode = modes.CHARGE_NOW  # a killed program takes no mode back
    answer = take("first_charge", str((7200 - 4200) / 3600), "24", "yes")
    assert answer.values["hours"] == pytest.approx(2.0, abs=0.02)
    assert answer.values["from_c"] == pytest.approx(15.0, abs=0.1)
    assert not path.exists(), "answered: nothing to take up"
    path.write_text("\n".join(kept))
    made.up = 50  # the board has restarted since: another charge
    answer = take("first_charge", "", "0.5", "24", "yes")
    assert answer.values["hours"] == pytest.approx(0.5, abs=0.02)
    rows = [json.loads(line) for line in kept]
    before = [[up, c, on, seen_s - 7200.0] for up, c, on, seen_s in rows]
    path.write_text("\n".join(map(json.dumps, before)))
    made.up = rows[-1][0] + 600  # so too where two hours by the clock are 600 s of its uptime
    made.mode = modes.CHARGE_NOW
    answer = take("first_charge", "", "0.5", "24", "yes")
    assert answer.values["hours"] == pytest.approx(0.5, abs=0.02)


def test_a_probe_that_is_unplugged_is_told_and_stops_what_rests_on_it(take, made: MadeUp) -> None:
    """Without the room probe no pump; a store probe of two takes nothing away."""
    made.mode = modes.COOL_NOW

    def pulled(board: MadeUp) -> None:
        board.bad[2], board.dead = 1, output_slot.PUMP | output_slot.FAN

    def back(board: MadeUp) -> None:
        board.bad = [0, 0, 0, 1, 1]

    at(5, pulled)(made)
    assert take("alarm_probe_room", back).values == {"seen": "yes", "cleared": "yes"}
    made.dead = 0
    at(5, lambda board: board.bad.__setitem__(2, 1))(made)
    assert take("alarm_probe_room", back).values == {"seen": "no", "cleared": "yes"}
    at(5, lambda board: board.bad.__setitem__(0, 1))(made)
    assert take("alarm_probe_store_low", back).good
    made.each_second = lambda board: None
    assert take("alarm_probe_room").values == {"seen": "no", "cleared": "no"}


def test_a_board_that_falls_silent_or_restarts_is_one_line(take, made: MadeUp) -> None:
    made.each_second = lambda board: setattr(board, "up", board.up if board.up < 150 else 1)
    with pytest.raises(KnownError, match="restarted in the middle"):
        take("leak_hour", "")
    made.wait = lambda wanted, timeout_s: setattr(made, "up", made.up + 21)  # type: ignore[method-assign]
    with pytest.raises(KnownError, match="no record for 20 s"):
        take("outage")


def test_no_more_commands_than_the_board_takes_in_a_minute(made: MadeUp) -> None:
    now, slept = [0.0], []

    def sleep(seconds: float) -> None:
        slept.append(seconds)
        now[0] += seconds

    board = LinkedBoard(made, clock=lambda: now[0], sleep=sleep)
    for _ in range(7):
        board.acknowledge()
    assert slept == [62.0]


class Late:
    """A port whose buffer filled up while nobody read."""

    def __init__(self, made: MadeUp) -> None:
        self.old = [json.loads(made.line()) for _ in range(16)]
        self.made = made
        made.up += 600

    def send(self, command: dict) -> None:
        self.old.append({"done": command["cmd"]})

    def wait(self, wanted: Callable[[dict], bool], timeout_s: float) -> dict | None:
        while self.old:
            message = self.old.pop(0)
            if wanted(message):
                return message
        return self.made.wait(wanted, timeout_s)


def test_records_from_while_the_person_was_waited_for_do_not_count(made: MadeUp) -> None:
    now = [0.0]
    board = LinkedBoard(Late(made), clock=lambda: now[0], sleep=lambda _s: None)
    assert board.record().line.up == 100, "at once: they are new"
    now[0] += 600.0
    assert board.record().line.up > 700


def test_a_command_over_the_boards_ration_is_tried_once_more(made: MadeUp) -> None:
    slept: list[float] = []
    board = LinkedBoard(made, clock=lambda: 0.0, sleep=slept.append)
    real, made.wait = made.wait, lambda _wanted, _timeout_s: None  # type: ignore[method-assign]
    with pytest.raises(KnownError, match="no answer to ack"):
        board.acknowledge()
    assert len(made.commands) == 2
    made.wait = real  # type: ignore[method-assign]
    board.acknowledge()
    assert slept == [57.0]
