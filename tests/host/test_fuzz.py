"""Inputs that once ended in a traceback, a hang or a wrong line, and a few damaged by chance."""

import importlib.util
import json
import os
import sys
from pathlib import Path
from types import ModuleType

import pytest
from site_text import BASE, edited
from springhouse_host.cli import run
from springhouse_host.errors import SiteError
from springhouse_host.site import load_site

GUARD = Path(__file__).parent.parent / "guards" / "fuzz.py"


def guard() -> ModuleType:
    """The long run's module."""
    spec = importlib.util.spec_from_file_location("fuzz", GUARD)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["fuzz"] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(("kind", "count"), [("sites", 40), ("weather", 8), ("bases", 25)])
def test_damaged_by_chance(kind: str, count: int) -> None:
    """The first of the long run; see the module for what is counted."""
    fuzz = guard()
    said: list[str] = []
    counts = fuzz.run(kind, range(count), said.append)
    assert not [line for line in said if not line.startswith("after")]
    assert sum(counts.values()) == count


def windows(count: int) -> str:
    """So many windows that overlap."""
    hours = ", ".join(
        f'"mon {n // 60 % 24:02}:{n % 60:02}-{(n // 60 + 1) % 24:02}:{n % 60:02}"'
        for n in range(count)
    )
    return edited(("tariff.cheap_hours", f"[{hours}]"))


SITES = {
    "dotted": (BASE + "\n" + "a." * 50_000 + "a = 1", "at most 32 deep: line"),
    "brackets": (BASE + "\nx = " + "[" * 100_000, "at most 32 deep"),
    "inline": ("x = " + "{a=" * 3000 + "1" + "}" * 3000, "at most 32 deep"),
    "400 windows": (windows(400), "at most 168 windows"),
    "2000 windows": (windows(2000), "at most 168 windows"),
    "digits": (edited(("store.water_litres", "9" * 5000)), "not valid TOML"),
    "hex": (edited(("store.water_litres", "0x" + "f" * 5000)), "store.water_litres"),
}


@pytest.mark.parametrize(("text", "said"), SITES.values(), ids=SITES.keys())
def test_sites_that_took_a_reader_to_its_end(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "s.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(SiteError) as caught:
        load_site(path)
    assert len(caught.value.lines) == 1
    assert said in caught.value.lines[0]


def test_many_windows_are_told_in_few_lines(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(windows(168), "utf-8")
    with pytest.raises(SiteError) as caught:
        load_site(path)
    told = [line for line in caught.value.lines if "cheap_hours" in line]
    assert len(told) == 6
    assert '"mon 01:00-02:00"' not in told[0]
    assert "and 162 more windows" in told[-1]


def test_many_faults_are_told_in_few_lines(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(BASE + "".join(f"\n[t{n}]" for n in range(5000)), "utf-8")
    with pytest.raises(SiteError) as caught:
        load_site(path)
    assert len(caught.value.lines) == 41
    assert caught.value.lines[-1].endswith("and 4960 more")


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("coil.ua_w_k", "2000", "coil.ua_w_k: 2000: high reading of it: "),
        ("place.ua_w_k", "4900", "place.ua_w_k: 4900: "),
        ("freezer.cabinet_ua_w_k", "19", "freezer.cabinet_ua_w_k: 19: "),
    ],
)
def test_a_parts_refusal_names_the_key(tmp_path: Path, key: str, value: str, said: str) -> None:
    path = tmp_path / "s.toml"
    path.write_text(edited((key, value)), "utf-8")
    with pytest.raises(SiteError) as caught:
        load_site(path)
    assert caught.value.lines[0].startswith(f"{path}: {said}")


def deep(tmp_path: Path) -> Path:
    path = tmp_path / "deep.json"
    path.write_text("[" * 10_000)
    return path


@pytest.mark.parametrize(
    "command",
    [
        ["flash", "demo", "--port", "/dev/null", "--wiring", "DEEP"],
        ["season", "open", "demo", "--record", "DEEP"],
        ["season", "open", "demo", "--proof", "DEEP"],
        ["commission", "demo", "--record", "DEEP", "--ask"],
        ["fit", "demo", "--log", "DEEP"],
        ["size", "PIPE"],
        ["history", "PIPE"],
        ["watch", "--replay", "PIPE", "--base", "BASE"],
    ],
)
def test_files_that_never_end(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: list[str]
) -> None:
    os.mkfifo(tmp_path / "pipe")
    names = {"DEEP": str(deep(tmp_path)), "PIPE": str(tmp_path / "pipe")}
    names["BASE"] = str(tmp_path / "b.sqlite")
    assert run([names.get(word, word) for word in command]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "internal error" not in said


def test_a_record_without_its_keys(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "r.json"
    compared = {"compared": {"on": "2026-05-01", "wrong": ""}}
    path.write_text(json.dumps({"schema": 1, "season": "open", "answers": compared}))
    assert run(["season", "open", "demo", "--last", str(path)]) == 2
    assert "no record of a season" in capsys.readouterr().err


def test_a_scheduler_that_is_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    vary = ["--vary", "settings.deep_target_c=2:3:2", "--days", "1"]
    assert run(["sweep", "demo", *vary, "--scheduler", "nonsense"]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert said.startswith("--scheduler nonsense: cannot be reached")
