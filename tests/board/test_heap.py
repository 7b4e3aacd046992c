"""The smallest heap that each board's image starts on, and what a full heap does to a program."""

import json
from pathlib import Path

import built
import live_heap
import pytest
from net_rig import GET, UP_S, NetRig, status
from rig import WIRING, Rig, record
from springhouse import setting
from springhouse.clock import Clock
from springhouse.owner import Owner
from springhouse.record import Record
from springhouse.storage import LONGEST, TwoSlots
from springhouse_host.flashing.build import BOARDS
from springhouse_sim.virtual_board import process
from springhouse_sim.virtual_board.chip import BY_BOARD
from springhouse_sim.virtual_board.flash_folder import make_flash
from torn_files import TornFiles

ALONE_KIB, ONLINE_KIB = 112, 140  # stated in docs/build.md
BROKER = "127.0.0.1"  # nobody listens there: the code is loaded and tries


def lay(folder: Path, board: str) -> Path:
    make_flash(folder, {**WIRING, "board": board}, record().encode(), built.folder(board))
    network = {"ssid": "attic", "password": "not a secret", "broker": BROKER}
    (folder / "network.json").write_text(json.dumps(network))
    return folder


@pytest.mark.parametrize("board", BOARDS)
def test_what_the_program_keeps_on_a_32_bit_board(tmp_path: Path, board: str) -> None:
    """And that the virtual board's heap is scaled by what was measured."""
    flash = tmp_path / "flash"
    flash.mkdir()
    lay(flash, board)
    live_heap.lay_stubs(tmp_path / "stubs")
    narrow = live_heap.narrow(flash, tmp_path / "stubs")
    wide = live_heap.wide(flash, tmp_path / "stubs")
    print(f"{board}: {narrow} bytes on 32 bits, {wide} on 64")
    # 14 kB are left for asyncio (8.2 kB), the interpreter itself and what is taken while running.
    assert narrow[0] <= (ALONE_KIB - 14) * 1024
    assert narrow[1] <= (ONLINE_KIB - 14) * 1024
    for less, more in zip(narrow, wide, strict=True):
        assert more / less == pytest.approx(process.WIDER_PM / 1000, rel=0.02)
    # The stand-ins' sockets and pins may not lend the program any room.
    assert live_heap.stand_ins() == pytest.approx(process.STAND_IN_BYTES, abs=2500)


@pytest.mark.parametrize("board", BOARDS)
def test_starts_on_the_stated_heap_without_a_network(tmp_path: Path, board: str) -> None:
    flash = lay(tmp_path, board)
    (flash / "network.json").unlink()
    made = process.BoardProcess(flash, heap_kib=ALONE_KIB, chip=BY_BOARD[board])
    try:
        assert made.run_slice(15_000) == []
        assert any(line.startswith('{"up":') for line in made.lines), made.lines[-1:]
    finally:
        made.close()


def test_page_and_broker_run_on_the_stated_heap(tmp_path: Path) -> None:
    rig = NetRig(tmp_path, heap_kib=ONLINE_KIB, broker=BROKER).power()
    try:
        rig.run(UP_S)
        for _ in range(3):
            assert status(rig.ask(GET)) == 200
        rig.run(30)
        assert rig.net() == "127.0.0.1"
        assert rig.resets == []
        state = next(r for r in reversed(rig.records()) if "lost" in r)
        assert state["lost"][5] == 0, "nothing was given up for want of memory"
        # In the words of a board: the program compares them with what it counts there.
        least = built.package().constants("springhouse.net.online")["FREE_LEAST"]
        assert state["free"] * 1000 // process.WIDER_PM >= least
    finally:
        rig.close()


def test_the_fragmenting_start_fails_a_program_that_does_not_collect(tmp_path: Path) -> None:
    """What real boards did below 165 kB: 58 kB free, no piece of 8 kB."""
    rig = Rig(tmp_path, heap_kib=160)
    asks_8_kb = (
        "        self.slots = slots = TwoSlots(home",
        "        bytearray(8257)\n        self.slots = slots = TwoSlots(home",
    )
    rig.edit("app.py", *asks_8_kb)
    rig.power().run(3)
    assert rig.last()["lat"] == 0, "it collects: the piece is there"
    rig.close()
    main = (tmp_path / "main.py").read_text()
    assert main.count("gc.threshold(4096)") == 1
    (tmp_path / "main.py").write_text(main.replace("gc.threshold(4096)", ""))
    never = ("    gc.collect()\n    board = Board", "    board = Board")
    nor = ("        gc.collect()\n        # Code", "        # Code")
    rig.edit("app.py", *never, *nor, "        self.slots = slots = TwoSlots(home", asks_8_kb[1])
    rig.power().run(3)
    rig.close()
    assert any("MemoryError" in line and "8257" in line for line in rig.board.lines)


def test_a_page_that_finds_no_memory_answers_503_and_the_program_goes_on(tmp_path: Path) -> None:
    rig = NetRig(tmp_path)
    first = "    memory, readings = scanner.memory, scanner.readings\n    store"
    rig.edit("net/page.py", first, "    if uptime_s < 70:\n        bytearray(1 << 30)\n" + first)
    rig.power().run(UP_S)
    try:
        assert status(rig.ask(GET)) == 503
        rig.run(10)
        assert status(rig.ask(GET)) == 200
        rig.net()
        assert next(r for r in reversed(rig.records()) if "lost" in r)["lost"][5] == 1
        assert rig.resets == []
    finally:
        rig.close()


NO_MEMORY = "[0] * (1 << 28)\n"
SHORTAGES = {  # file: behind which line memory runs out, once
    "loop.py": ("        board.note_changes(self.uptime_s)\n", "        if self.uptime_s == 8:\n"),
    "report.py": (
        "    r, m = scanner.readings, scanner.memory\n    store",
        "    if uptime_s == 8:\n",
    ),
    "talk.py": ("            self._settings_part = 0\n", "            if True:\n"),
}


@pytest.mark.parametrize("file", SHORTAGES)
def test_a_line_or_record_without_memory_is_given_up_and_counted(tmp_path: Path, file: str) -> None:
    rig = Rig(tmp_path)
    line, when = SHORTAGES[file]
    indent = " " * (len(when) - len(when.lstrip()) + 4)
    rig.edit(file, line, when + indent + NO_MEMORY + line)
    rig.power().run(5)
    rig.board.send('{"cmd":"get-settings"}\n')
    rig.run(10)
    rig.board.send('{"cmd":"get-state"}\n')
    rig.run(3)
    rig.close()
    assert rig.resets == []
    assert rig.last()["up"] >= 15
    assert next(r for r in reversed(rig.records()) if "lost" in r)["lost"][5] == 1


class Starved(TornFiles):
    """Finds no memory for a call of the file system."""

    def __init__(self, where: str) -> None:
        super().__init__(False)
        self.where = where

    def open(self, path: str, mode: str):
        if self.where == mode:
            raise MemoryError
        return super().open(path, mode)

    def rename(self, old: str, new: str) -> None:
        if self.where == "rename":
            raise MemoryError
        super().rename(old, new)


@pytest.mark.parametrize("where", ["wb", "rb", "rename", "encode", "before"])
def test_a_change_without_memory_leaves_the_setting_in_force_and_on_flash(
    where: str, monkeypatch
) -> None:
    files = Starved("")
    made = Record()
    made.ranges = [(setting.ROOM_TARGET_MC, 22000, 26000)]
    slots = TwoSlots("settings", files)
    assert slots.save(made.encode())
    owner = Owner(Clock([], 0, True), made, slots)
    files.where = where

    def starve(*_: object) -> None:
        raise MemoryError

    if where == "encode":
        monkeypatch.setattr(made, "encode", starve)
    if where == "before":
        monkeypatch.setattr("springhouse.owner.array", starve)
    said = owner.change([setting.ROOM_TARGET_MC, 23000])
    assert ("memory" in said) == (where in ("encode", "before"))
    assert said
    assert made.settings[setting.ROOM_TARGET_MC] == 24000
    assert not owner.changed
    assert owner.shortages + slots.shortages == 1
    files.where = ""
    monkeypatch.undo()
    stored = Record()
    stored.decode(TwoSlots("settings", files).load())
    assert stored.settings[setting.ROOM_TARGET_MC] == 24000
    assert owner.change([setting.ROOM_TARGET_MC, 23000]) == ""


def test_the_longest_settings_record_fits_the_buffer() -> None:
    from springhouse.record import RANGE_MOST

    longest = Record()
    longest.ranges = [(0, 0, 0)] * RANGE_MOST
    assert len(longest.encode()) <= LONGEST
    files = TornFiles(False)
    files.kept["s.0"] = b"SPH1" + bytes(LONGEST + 100)
    assert TwoSlots("s", files).load() is None


@pytest.mark.parametrize("locked", [True, False])
def test_the_step_keeps_the_heap_locked(tmp_path: Path, locked: bool) -> None:
    """An allocation inside it ends in all off and a reset; without the lock it goes unseen."""
    rig = Rig(tmp_path)
    place = "    memory[cell.OUT] = out\n"
    rig.edit("controller.py", place, place + "    if now > 8000:\n        out = [out][0]\n")
    if not locked:
        rig.edit(
            "scan.py",
            "    heap_lock()\n    try:",
            "    try:",
            "        heap_unlock()\n",
            "        pass\n",
        )
    rig.power().run(12)
    rig.close()
    assert bool(rig.resets) == locked
    assert any("MemoryError" in line for line in rig.board.lines) == locked
    assert rig.motors() == (0, 0, 0)
