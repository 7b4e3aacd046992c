"""The command line as a person meets it: exit codes, one line a fault, nothing half-written."""

import json
import os
import signal
import subprocess
import sys
import tomllib
from pathlib import Path
from pkgutil import iter_modules

import pytest
from patience import HANG_S
from site_text import edited
from springhouse_host import cli, commands
from springhouse_host.errors import KnownError
from springhouse_host.screen import progress, write_whole
from springhouse_host.site import load_site
from springhouse_host.site.read import MODELS

FIVE = edited(
    ("freezer.climate_class", '"Q"'),
    ("store.water_litres", '"40 gal"'),
    ("loop.tube_bore_mm", ""),
    ("sensors.tray", '"absent"'),
    ("settings.deep_target_c", "13"),
)


HEAVY = {
    *("numpy", "scipy", "pandas", "numba", "simpy", "pvlib", "CoolProp", "fluids", "ht"),
    *("bokeh", "matplotlib", "schemdraw", "dask", "transitions"),
}


def springhouse(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "COLUMNS": "100"}
    environment.pop("FORCE_COLOR", None)
    return subprocess.run(
        [sys.executable, "-c", "from springhouse_host.cli import main; main()", *arguments],
        capture_output=True,
        text=True,
        cwd=cwd,
        env=environment,
        timeout=HANG_S,
        check=False,
    )


def test_five_mistakes_five_lines_nothing_written(tmp_path) -> None:
    (tmp_path / "site.toml").write_text(FIVE, "utf-8")
    done = springhouse("size", "site.toml", "--json", "sheet.json", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    lines = done.stderr.splitlines()
    assert len(lines) == 5
    assert all(line.startswith("site.toml: ") and line.count(": ") >= 3 for line in lines)
    assert [p.name for p in tmp_path.iterdir()] == ["site.toml"]


def test_new_then_size(tmp_path) -> None:
    made = springhouse("new", "mine", cwd=tmp_path)
    assert (made.returncode, made.stderr) == (0, "")
    path = tmp_path / "mine" / "site.toml"
    assert load_site(path).name == "mine"
    sized = springhouse("size", str(path), "--units", "us", "--json", "s.json", cwd=tmp_path)
    assert (sized.returncode, sized.stderr) == (0, "")
    assert "\x1b" not in sized.stdout
    assert "US gal" in sized.stdout
    sheet = json.loads((tmp_path / "s.json").read_text())
    assert sheet["evidence"] == "ESTIMATE"
    assert set(sheet["sheets"]) == {"low", "mid", "high"}
    assert "gal" not in json.dumps(sheet)


def test_new_names_every_key(tmp_path) -> None:
    springhouse("new", ".", cwd=tmp_path)
    text = (tmp_path / "site.toml").read_text("utf-8")
    assert tomllib.loads(text)["site"]["name"] == tmp_path.name
    for name, model in MODELS.items():
        block = text[text.index(f"[{name}]") :].split("\n\n")[0]
        for key in model.model_fields:
            assert f"{key} =" in block, f"{name}.{key}"


def test_new_keeps_what_is_there(tmp_path) -> None:
    (tmp_path / "site.toml").write_text("mine", "utf-8")
    done = springhouse("new", ".", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stderr == "site.toml: exists already: nothing was written\n"
    assert (tmp_path / "site.toml").read_text() == "mine"


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["sise"], "springhouse: No such command 'sise'. Did you mean 'size'?"),
        (["size"], "springhouse: Missing argument 'SITE'."),
        (["size", "demo", "--units", "cubits"], "springhouse: Invalid value for '--units'"),
        (["size", "demo", "--loud"], "springhouse: No such option: --loud"),
        (["size", "no.toml"], "no.toml: cannot be read: No such file or directory"),
        (["new", "/dev/null/x"], "/dev/null/x: cannot be made: Not a directory"),
    ],
)
def test_bad_arguments_are_one_line_and_code_2(capsys, arguments: list[str], line: str) -> None:
    assert cli.run(arguments) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert told.err.startswith(line)


def test_a_defect_of_ours_is_one_line_too(capsys, monkeypatch, tmp_path) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("first\nsecond")

    monkeypatch.setattr("springhouse_host.starter.starter_text", broken)
    monkeypatch.delenv("SPRINGHOUSE_TRACEBACK", raising=False)
    assert cli.run(["new", str(tmp_path / "x")]) == cli.EXIT_INTERNAL
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "ZeroDivisionError: first second" in told


def test_a_bar_that_does_not_know_its_total_is_drawn(capsys, monkeypatch) -> None:
    """On a terminal; most commands know how much there is to do only a moment later."""
    monkeypatch.setenv("TTY_COMPATIBLE", "1")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with progress("{task.description}") as bar:
        task = bar.add_task("points", total=None)
        bar.refresh()
        bar.update(task, completed=2, total=3)
        bar.refresh()
    shown = capsys.readouterr().err
    assert "points" in shown
    assert "2/3" in shown


COMMANDS = [module.name for module in iter_modules(commands.__path__)]


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_every_command_has_an_example(capsys, command: str) -> None:
    assert cli.run([command, "--help"]) == 0
    shown = capsys.readouterr().out
    assert f"Example:  springhouse {command} " in shown


def test_help_groups_the_commands_and_hides_completion(capsys) -> None:
    assert cli.run(["--help"]) == 0
    shown = capsys.readouterr().out
    place = -1
    for group, names in cli.GROUPS.items():
        assert shown.index(f" {group} ") > place
        for name in (name for name in names if name in COMMANDS):
            assert shown.index(f"\u2502 {name} ") > shown.index(f" {group} ")
            place = shown.index(f"\u2502 {name} ")
    assert set(COMMANDS) <= {name for names in cli.GROUPS.values() for name in names}
    assert shown.count("-completion") == 1  # the line that says how


def test_completion_knows_the_commands(tmp_path, monkeypatch) -> None:
    """What the script of `--show-completion` asks when Tab is pressed."""
    monkeypatch.setenv("_SPRINGHOUSE_COMPLETE", "complete_bash")
    monkeypatch.setenv("COMP_WORDS", "springhouse s")
    monkeypatch.setenv("COMP_CWORD", "1")
    found = springhouse(cwd=tmp_path).stdout.split()
    assert sorted(found) == [name for name in COMMANDS if name.startswith("s")]


def test_help_imports_nothing_that_takes_long() -> None:
    """Cold start without the plant, its libraries or a picture; seconds are for `make bench`."""
    code = (
        "import sys\nfrom springhouse_host import cli\n"
        "for name in sys.argv[1:]: assert cli.run([name, '--help']) == 0\n"
        "print(*sorted({m.partition('.')[0] for m in sys.modules}), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *COMMANDS], capture_output=True, text=True, check=True
    )
    loaded = set(done.stderr.split())
    assert "typer" in loaded
    assert loaded.isdisjoint(HEAVY), loaded & HEAVY


def test_a_changed_site_is_sized_without_what_takes_long_to_load(tmp_path) -> None:
    """Its weather is kept as it was read; numba alone is needed, for the plant's equations."""
    code = (
        "import sys\nfrom springhouse_host import cli\n"
        "assert cli.run(['size', sys.argv[1]]) == 0\n"
        "print(*sorted(sys.modules), file=sys.stderr)"
    )
    for litres in (150, 149):  # the first may read and keep
        site = tmp_path / f"{litres}.toml"
        site.write_text(edited(("store.water_litres", str(litres))), "utf-8")
        command = [sys.executable, "-c", code, str(site)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
    loaded = set(done.stderr.split())
    slow = {"CoolProp", "matplotlib", "pandas", "pvlib", "scipy.integrate", "scipy.optimize"}
    assert "springhouse_host.sheet.kept" in loaded
    assert loaded.isdisjoint(slow), loaded & slow


def test_files_are_written_whole_or_not_at_all(tmp_path) -> None:
    target = tmp_path / "folder"
    target.mkdir()
    with pytest.raises(KnownError, match="cannot be written"):
        write_whole(target, "text")
    with pytest.raises(KnownError, match="cannot be written"):
        write_whole(tmp_path / "nowhere" / "file", "text")
    assert [p.name for p in tmp_path.rglob("*")] == ["folder"]


WAITS = """
import time, typer
from springhouse_host import cli

def app():
    made = typer.Typer()
    @made.command()
    def wait():
        print("ready", flush=True)
        time.sleep(600)
    return made

cli.build_app = app
cli.main([])
"""


@pytest.mark.parametrize(
    ("how", "leaves", "said"),
    [
        (signal.SIGTERM, 143, "springhouse: ended by SIGTERM\n"),
        (signal.SIGHUP, 129, "springhouse: ended by SIGHUP\n"),
        (signal.SIGINT, 130, "springhouse: interrupted\n"),
    ],
)
def test_a_signal_ends_it_in_one_line(how: signal.Signals, leaves: int, said: str) -> None:
    program = subprocess.Popen(
        [sys.executable, "-c", WAITS], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert program.stdout is not None
    assert program.stdout.readline() == "ready\n"
    program.send_signal(how)
    assert program.communicate(timeout=HANG_S)[1] == said
    assert program.returncode == leaves
