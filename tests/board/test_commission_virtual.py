"""`springhouse commission --port` with the built program on a virtual board, a step at a time."""

import io
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import built
import pytest
from rig import LOOPS, PULSES_L, ROLES, WIRING, record
from springhouse.boards import pico_w
from springhouse_host import cli
from springhouse_host.commissioning import board as board_module
from springhouse_sim.virtual_board.flash_folder import make_flash
from springhouse_sim.virtual_board.inputs import scratchpad, serial
from springhouse_sim.virtual_board.process import BoardProcess
from springhouse_sim.virtual_board.terminal import TerminalBoard


class Place:
    """What surrounds the board: probes, loops, a pump that moves water."""

    def __init__(self) -> None:
        self.celsius = {"store_low": 12.0, "store_high": 12.3, "room": 27.0}
        self.loops = dict.fromkeys(LOOPS, 0)
        self.pump_seen = False
        self.pump_plugged = True
        self.unplugged: set[str] = set()

    def __call__(self, process: BoardProcess) -> None:
        for pin, level in self.loops.items():
            process.inputs.level(pin, level)
        for role, celsius in self.celsius.items():
            frame = None if role in self.unplugged else scratchpad(celsius)
            process.inputs.pad(serial(ROLES.index(role) + 1), frame)
        pump = process.outputs.get(pico_w.PUMP, 0) > 0
        self.pump_seen = self.pump_seen or pump
        process.inputs.pulses(pico_w.FLOW, PULSES_L * 1.2 / 60 if pump and self.pump_plugged else 0)


@pytest.fixture
def place() -> Place:
    return Place()


@pytest.fixture
def port(tmp_path: Path, place: Place) -> Iterator[str]:
    folder = tmp_path / "flash"
    folder.mkdir()
    make_flash(folder, WIRING, record().encode(), built.folder())
    board = TerminalBoard(folder, before=place)
    yield board.port
    board.close()


def test_steps_against_the_program_on_a_board(
    tmp_path: Path, place: Place, port: str, monkeypatch, capsys
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(board_module, "ANSWER_S", 1.0)  # 20 s of this board
    monkeypatch.setattr(board_module, "MINUTE_S", 4.0)

    def take(step: str, *deeds: str | Callable[[], None]) -> dict:
        left = iter(deeds)

        class Hands(io.StringIO):
            def readline(self, _limit: int = -1, /) -> str:
                deed = next(left, None)
                if callable(deed):
                    deed()
                return "" if deed is None else "\n" if callable(deed) else f"{deed}\n"

        monkeypatch.setattr("sys.stdin", Hands())
        code = cli.run(["commission", "demo", "--port", port, "--only", step])
        out, err = capsys.readouterr()
        assert (code, err) == (1, ""), out  # the other steps are open
        assert "not those of demo" in out, "the rig's settings are its own"
        path = tmp_path / "commissioning-recording-room.json"
        return json.loads(path.read_text())["answers"][step]

    def ice() -> None:
        place.celsius["store_low"] = -0.125
        time.sleep(
            board_module.AWAY_S + 0.2
        )  # a person takes longer: what was read before is dropped

    def plug(plugged: bool) -> None:
        place.pump_plugged = plugged

    def close() -> None:
        place.loops[pico_w.FLOOR] = 0

    answer = take("ice_point_store_low", ice)
    assert answer["wrong"] == []
    assert answer["results"]["offset_k"] == 0.125
    place.loops[pico_w.FLOOR] = 1
    answer = take("alarm_floor", close)
    assert answer["values"] == {"seen": "yes", "off": "yes", "cleared": "yes"}
    place.celsius["store_low"] = 12.0
    place.unplugged = {"room"}
    answer = take("alarm_probe_room", place.unplugged.clear)
    assert answer["values"] == {"seen": "yes", "cleared": "yes"}
    answer = take("pulse_pump", "", "yes")
    assert answer["values"] == {"came_on": "yes", "seen": "yes", "went_off": "yes"}
    assert place.pump_seen
    answer = take("flow", "", str(PULSES_L), "1.2", "60")
    assert answer["results"]["pulses_l"] == pytest.approx(PULSES_L, rel=0.02)
    assert f'"flow_pulses_l": {answer["results"]["pulses_l"]:.0f} ±' in answer["notes"][0]
    answer = take("dry_run", lambda: plug(False), lambda: plug(True))
    assert answer["values"] == {"stopped": "yes"}
