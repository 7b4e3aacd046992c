"""The door for what comes from outside: sizes, depths, kinds of files, encodings, stamps."""

import json
import os
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from springhouse_sim import outside
from springhouse_sim.outside import OutsideError


def refused(act: object, *args: object) -> str:
    """Return the one line an act of the door is refused with."""
    with pytest.raises(OutsideError) as caught:
        act(*args)  # type: ignore[operator]
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_only_regular_files_are_read(tmp_path: Path) -> None:
    """A pipe nobody writes to would wait for ever, a device would never end."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert refused(outside.read_bytes, pipe, 10) == (
        f"{pipe}: cannot be read: is a pipe: a regular file is needed"
    )
    assert "is a device" in refused(outside.read_bytes, Path("/dev/zero"), 10)
    assert "is a folder" in refused(outside.read_bytes, tmp_path, 10)
    assert "No such file" in refused(outside.read_bytes, tmp_path / "none", 10)
    assert "is no name" in refused(outside.read_bytes, Path("a\0b"), 10)


def test_size_and_encoding(tmp_path: Path) -> None:
    path = tmp_path / "f"
    path.write_bytes(b"\xef\xbb\xbfcaf\xc3\xa9")
    assert outside.read_text(path, 8) == "café"
    assert refused(outside.read_text, path, 7) == f"{path}: more than 7 bytes: too long"
    path.write_bytes(b"caf\xe9")
    assert refused(outside.read_text, path, 8) == f"{path}: byte 3: not UTF-8 text"
    assert outside.read_text(path, 8, "latin-1") == "café"


def nested(depth: int) -> str:
    return "[" * depth + "]" * depth


def test_depth_of_json() -> None:
    assert outside.from_json(nested(outside.DEEPEST), "f")
    for text in (nested(outside.DEEPEST + 1), "[" * 200_000, '{"a":' * 200_000):
        assert refused(outside.from_json, text, "f") == "f: nested more than 32 deep"
    assert outside.from_json(json.dumps("[" * 99 + '"\\'), "f")  # brackets in a text
    assert refused(outside.from_json, '{"a":\n1,}', "f").startswith("f: line 2, column ")


def test_depth_of_toml() -> None:
    """Dotted keys nest as well, and cost their reader the square of their number."""
    assert outside.from_toml("a.b.c = [[1]]", "f") == {"a": {"b": {"c": [[1]]}}}
    dotted = "k.\"l\" . 'm'." * 70_000 + "n = 1"
    assert refused(outside.from_toml, f"x = 1\n{dotted}", "f").endswith("at most 32 deep: line 2")
    for text in ("x = " + nested(33), "x = " + "[" * 100_000, "x = " + "{a=" * 3000):
        assert "nested too deeply" in refused(outside.from_toml, text, "f")
    assert refused(outside.from_toml, "x = ", "f").startswith("f: not valid TOML: ")


@given(st.text(max_size=60))
def test_whatever_the_text_one_line(text: str) -> None:
    for read in (outside.from_json, outside.from_toml):
        try:
            read(text, "f")
        except OutsideError as error:
            assert len(str(error).splitlines()) == 1  # which texts fail is open


leaf = st.none() | st.booleans() | st.integers() | st.text(max_size=5)


@given(st.recursive(leaf, lambda part: st.lists(part) | st.dictionaries(st.text(), part)))
def test_what_json_writes_is_read_back(value: object) -> None:
    assert outside.from_json(json.dumps(value), "f") == value


def test_rows_know_their_lines(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text('a,b\n\n 1 , "2"\n,\n3\n')
    assert list(outside.read_rows(path, 99)) == [(1, ["a", "b"]), (3, ["1", '"2"']), (5, ["3"])]
    path.write_text("x" * 200_000)
    assert "line 1: no row of a table" in refused(list, outside.read_rows(path, 300_000))


@pytest.mark.parametrize(
    ("came", "why"),
    [
        (datetime(2025, 10, 26, 2), "an hour twice; every hour stands once"),
        (datetime(2025, 10, 26, 4), "an hour is missing; every hour stands once"),
        (datetime(2025, 3, 1), "stamps must run forward"),
        (datetime(2024, 2, 29, 5), "a leap day"),
    ],
)
def test_what_a_wrong_stamp_looks_like(came: datetime, why: str) -> None:
    error = str(outside.out_of_order("f: line 9", came, datetime(2025, 10, 26, 3)))
    assert error.startswith(f"f: line 9: {came} where 2025-10-26 03:00:00 is due")
    assert why in error


@pytest.mark.parametrize("text", ["", "soon", "0001-01-01", "9999-12-31T23:00", "2025-01-01T00Z"])
def test_stamps_that_are_none(text: str) -> None:
    assert refused(outside.stamp, text, "f").startswith(f"f: {text!r} ")
