"""Link: bounded lines, unknown keys refused, six a minute, and no way to an output."""

import json
import random
import subprocess
from array import array
from types import SimpleNamespace

import built
import pytest
from hypothesis import given
from hypothesis import strategies as st
from patience import HANG_S
from rig import Rig
from springhouse import command, mode, setting
from springhouse import link as board_link
from springhouse import owner as board_owner
from springhouse.clock import Clock
from springhouse.record import Record
from springhouse.storage import TwoSlots
from springhouse_sim.virtual_board.process import interpreter
from torn_files import TornFiles


def make() -> tuple[board_link.Link, board_owner.Owner]:
    record = Record()
    record.fault = ""
    record.ranges = [(setting.ROOM_TARGET_MC, 22000, 26000)]
    owner = board_owner.Owner(Clock([], 0, True), record, TwoSlots("settings", TornFiles(False)))
    return board_link.Link(owner), owner


def tell(link: board_link.Link, text: str | bytes) -> dict | None:
    data = text.encode() if isinstance(text, str) else text
    answers = [a for byte in data + b"\n" if (a := link.feed(byte)) is not None]
    assert len(answers) <= 1
    return json.loads(answers[0]) if answers else None


def test_every_command() -> None:
    link, owner = make()
    for _ in range(60):
        link.limit.second()
    assert tell(link, '{"cmd":"ack"}') == {"done": "ack"}
    assert owner.ack_seq == 1
    assert tell(link, '{"cmd":"mode","mode":4,"minutes":60}') == {"done": "mode"}
    assert (owner.mode, owner.mode_min, owner.mode_seq) == (mode.QUIET, 60, 1)
    assert tell(link, '{"cmd":"set-time","utc_s":1783339200}') == {"done": "set-time"}
    assert owner.clock.utc_min == 1783339200 // 60
    assert owner.clock_set
    answer = tell(link, f'{{"cmd":"set","values":[{setting.ROOM_TARGET_MC},23500]}}')
    assert answer == {"done": "set"}
    assert owner.changed
    assert owner.record.settings[setting.ROOM_TARGET_MC] == 23500
    assert tell(link, '{"cmd":"service"}') == {"done": "service"}
    assert owner.reset == board_owner.SERVICE
    assert tell(link, '{"cmd":"reset"}') == {"done": "reset"}
    assert owner.reset == board_owner.RESET


def test_minutes_of_no_meaning_reach_no_reading() -> None:
    """A reading has 32 bits; the automatic mode looks at no minutes."""
    link, owner = make()
    assert tell(link, f'{{"cmd":"mode","mode":0,"minutes":{(1 << 33) - 1}}}') == {"done": "mode"}
    array("i", [owner.mode_min])


def test_a_change_to_what_stands_writes_nothing_and_is_no_news() -> None:
    link, owner = make()
    for value, saves in ((23500, 1), (23500, 1), (24500, 2)):
        assert tell(link, f'{{"cmd":"set","values":[{setting.ROOM_TARGET_MC},{value}]}}')
        assert owner._slots.seq == saves
    assert owner.news == [
        (setting.ROOM_TARGET_MC, 24000, 23500),
        (setting.ROOM_TARGET_MC, 23500, 24500),
    ]


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("", None),
        ("nonsense", "not JSON"),
        ("\xff\xfe", "not JSON"),
        ("[" * 200, "not JSON"),
        ("[]", "not a table"),
        ("3", "not a table"),
        ("{}", "unknown cmd"),
        ('{"cmd":7}', "unknown cmd"),
        ('{"cmd":["ack"]}', "unknown cmd"),
        ('{"cmd":"relay","on":1}', "unknown cmd"),
        ('{"cmd":"ack","out":7}', "unknown key"),
        ('{"cmd":"mode"}', "missing mode"),
        ('{"cmd":"mode","mode":"off"}', "mode: whole number"),
        ('{"cmd":"mode","mode":true}', "mode: whole number"),
        ('{"cmd":"mode","mode":1e9}', "mode: whole number"),
        ('{"cmd":"mode","mode":99,"minutes":5}', "mode: 0..8"),
        ('{"cmd":"mode","mode":2}', "minutes: 1..1440"),
        ('{"cmd":"mode","mode":2,"minutes":1441}', "minutes: 1..1440"),
        ('{"cmd":"set-time","utc_s":1}', "utc_s: not a time of our days"),
        ('{"cmd":"set-time","utc_s":-9999999999}', "utc_s: whole number"),
        ('{"cmd":"set-time","utc_s":1783339200,"sure":1}', "sure: true or false"),
        ('{"cmd":"set","values":[]}', "values: whole numbers in pairs"),
        ('{"cmd":"set","values":[20]}', "values: whole numbers in pairs"),
        ('{"cmd":"set","values":[20,true]}', "values: whole numbers in pairs"),
        ('{"cmd":"set","values":[20,"26"]}', "values: whole numbers in pairs"),
        ('{"cmd":"set","values":[20,9999999999]}', "values: whole numbers in pairs"),
        ('{"cmd":"set","values":20}', "values: whole numbers in pairs"),
        ('{"cmd":"set","values":[-1,0]}', "slot -1: not in the owner's range"),
        ('{"cmd":"set","values":[1000000,0]}', "slot 1000000: not in the owner's range"),
        ('{"cmd":"set","values":[0,2]}', "needs `springhouse prove`"),
        (
            f'{{"cmd":"set","values":[{setting.ROOM_TARGET_MC},26001]}}',
            "outside the proven range 22000..26000: needs `springhouse prove`",
        ),
        (
            f'{{"cmd":"set","values":[{setting.ROOM_TARGET_MC},23000,0,2]}}',
            "slot 0: not in the owner",
        ),
    ],
)
def test_refusals_say_why_and_change_nothing(line: str, why: str | None) -> None:
    link, owner = make()
    before = bytes(owner.record.settings)
    answer = tell(link, line)
    assert (
        answer is None if why is None else why.replace("0..8", f"0..{mode.SIZE - 1}") in str(answer)
    )
    assert bytes(owner.record.settings) == before
    assert (owner.ack_seq, owner.mode_seq, owner.reset, owner.changed) == (0, 0, 0, False)


@pytest.mark.parametrize(
    "text",
    [
        '{"cmd":"ack"]',
        '{"cmd","ack"}',
        '{"cmd":"mode","mode":2"minutes":60}',
        '{"cmd":"mode","mode"-2}',
        '{"cmd":"mode","mode":02}',
        '{"cmd":"mode","mode":2:"minutes",60}',
        '{"cmd":"set","values":[12,3000}',
        '{"cmd":"set","values":[12:3000]}',
        '{"cmd":"ack"}}',
        '{"cmd":"ack"',
        '{"cmd":"ack}',
        '["cmd":"ack"}',
        '{"cmd":{"cmd":"ack"}}',
    ],
)
def test_what_the_boards_reader_forgives_is_refused_all_the_same(text: str) -> None:
    """RFC 8259 has none of these; found by running hostile lines on the interpreter."""
    assert not command._to_the_letter(text)


@given(
    st.dictionaries(
        st.text("abcmd_", min_size=1),
        st.integers() | st.booleans() | st.text("abc") | st.lists(st.integers(), min_size=1),
        min_size=1,
    ),
    st.sampled_from((None, 1, 3)),
)
def test_any_flat_table_is_json_to_the_letter(table: dict, indent: int | None) -> None:
    text = json.dumps(table, indent=indent)
    assert command._to_the_letter(text)
    for at in range(len(text) - 1):
        assert not command._to_the_letter(text[: at + 1])


def test_six_a_minute_in_any_sixty_seconds() -> None:
    link, owner = make()
    stamps = []
    rng = random.Random(4)
    for second in range(4000):
        link.limit.second()
        for _ in range(rng.choice((0, 0, 0, 1, 3, 10))):
            before = owner.ack_seq
            tell(link, '{"cmd":"ack"}')
            if owner.ack_seq != before:
                stamps.append(second)
    for first, seventh in zip(stamps, stamps[6:], strict=False):
        assert seventh - first >= 60
    assert len(stamps) >= 4000 // 60 * 6 - 6, "the limit must not starve an owner either"
    assert link.dropped > 0


def test_longest_line_and_one_byte_more() -> None:
    link, owner = make()
    core = '{"cmd":"ack"'
    fits = core + " " * (board_link.LINE_MOST - len(core) - 1) + "}"
    assert tell(link, fits) == {"done": "ack"}
    assert tell(link, core + " " * (board_link.LINE_MOST - len(core)) + "}") is None
    assert tell(link, '{"cmd":"ack"}') == {"done": "ack"}
    assert owner.ack_seq == 2


def hostile(rng: random.Random) -> bytes:
    """A line of one of several bad kinds."""
    kind = rng.randrange(6)
    if kind == 0:
        return rng.randbytes(rng.randrange(1, 400)).replace(b"\n", b"\0")
    if kind == 1:
        return bytes(
            rng.choice(b'{}[]":,0123456789eE+-.ntfu\\ ') for _ in range(rng.randrange(300))
        )
    good = rng.choice(
        (
            b'{"cmd":"mode","mode":2,"minutes":60}',
            b'{"cmd":"set","values":[12,3000]}',
            b'{"cmd":"set-time","utc_s":1783339200}',
            b'{"cmd":"ack"}',
            b'{"cmd":"get-settings"}',
        )
    )
    if kind == 2:
        cut = rng.randrange(len(good))
        return good[:cut]
    if kind == 3:
        at = rng.randrange(len(good))
        return good[:at] + bytes([rng.randrange(32, 127)]) + good[at + 1 :]
    if kind == 4:
        return good[:-1] + b',"relay":1}'
    return b'{"cmd":"mode","mode":' + str(rng.randrange(-(10**40), 10**40)).encode() + b"}"


def test_100_000_hostile_lines() -> None:
    link, owner = make()
    rng = random.Random(11)
    before = bytes(owner.record.settings)
    for _ in range(100_000):
        for _ in range(60):  # the worst case: the rate never protects the parser
            if link.limit._ages[0] >= 60:
                break
            link.limit.second()
        tell(link, hostile(rng))
    assert bytes(owner.record.settings) == before
    assert owner.reset == board_owner.NO_RESET
    # Nothing the link can reach is an output, and nothing it holds leads to one.
    reach = [link, owner, owner.clock, owner.record]
    names = {name for thing in reach for name in vars(thing)}
    assert not {n for n in names if "out" in n or "pin" in n or "relay" in n}


@given(st.binary(max_size=300))
def test_any_bytes_are_survived(data: bytes) -> None:
    link, _ = make()
    for byte in data + b"\n":
        link.feed(byte)


def test_parser_survives_memory_and_depth_errors(monkeypatch) -> None:
    def fail(_text: str):
        raise MemoryError

    monkeypatch.setattr(command, "json", SimpleNamespace(loads=fail, dumps=json.dumps))
    assert command.parse(b"{}") == ({}, "not JSON")


@pytest.mark.slow
def test_100_000_hostile_lines_on_the_board(tmp_path) -> None:
    """Heap and outputs on the real interpreter; lines that rightly change them left out."""
    rig = Rig(tmp_path).power()
    rng = random.Random(12)
    try:
        rig.run(650)
        assert all(rig.motors())
        rig.board.send('{"cmd":"get-state"}\n')
        rig.run(65)
        free = [next(r["free"] for r in reversed(rig.records()) if "free" in r)]
        changes, sent, queue = len(motor_changes(rig)), 0, b""
        scans = rig.last()["up"]
        start_ms = rig.board.now_ms
        while sent < 100_000 or queue:
            while sent < 100_000 and len(queue) < 1200:
                line = hostile(rng)
                if b'"ack"' in line or b'"mode","mode":2' in line:
                    continue
                queue += line + b"\n"
                sent += 1
            rig.board.process.stdin.write(queue[:1200])
            rig.board.process.stdin.flush()
            queue = queue[1200:]
            del rig.board.lines[:-10]
            rig.run(1)
        rig.board.send("\n")
        rig.run(70)
        rig.board.send('{"cmd":"get-state"}\n')
        rig.run(5)
        free.append(next(r["free"] for r in reversed(rig.records()) if "free" in r))
        print(f"{sent} lines, heap free before and after: {free}")
        assert rig.resets == []
        assert len(motor_changes(rig)) == changes
        assert abs(rig.last()["up"] - scans - (rig.board.now_ms - start_ms) / 1000) <= 1
        assert free[0] - free[1] < 2048
    finally:
        rig.close()


# Parses every line of a file, one in hex a line; prints what is taken, then heap use.
PARSE_ALL = """
import gc, sys
from binascii import unhexlify
from springhouse import command
used = []
with open(sys.argv[1], "rb") as f:
    for n, line in enumerate(f):
        taken, fault = command.parse(unhexlify(line[:-1]))
        if not fault:
            print(n, taken["cmd"])
        if n in (999, 99999):
            gc.collect()
            used.append(gc.mem_alloc())
print("heap", used[0], used[1])
"""


@pytest.mark.slow
def test_the_board_takes_no_hostile_line_that_the_host_would_refuse(tmp_path) -> None:
    """100,000 lines through the built parser on the interpreter, whose JSON reader is another."""
    rng = random.Random(13)
    lines = [hostile(rng)[: board_link.LINE_MOST].replace(b"\n", b" ") for _ in range(100_000)]
    (tmp_path / "lines").write_bytes(b"".join(line.hex().encode() + b"\n" for line in lines))
    (tmp_path / "parse_all.py").write_text(PARSE_ALL)
    done = subprocess.run(
        [interpreter(), "parse_all.py", "lines"],
        cwd=tmp_path,
        env={"MICROPYPATH": f"{built.folder()}:.frozen"},
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=True,
    )
    *taken, heap = done.stdout.splitlines()
    ours = {
        n: c["cmd"]
        for n, line in enumerate(lines)
        for c, fault in [command.parse(line)]
        if not fault
    }
    theirs = {int(n): cmd for n, cmd in (row.split() for row in taken)}
    print(f"{len(theirs)} of {len(lines)} taken, {heap}")
    odd = {n: lines[n] for n in theirs if ours.get(n) != theirs[n]}
    assert odd == {}
    before, after = map(int, heap.split()[1:])
    assert after - before < 2048


def motor_changes(rig: Rig) -> list[tuple[int, int, int]]:
    return [c for c in rig.history if c[1] in (16, 17, 18)]
