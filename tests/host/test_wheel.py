"""The wheel, built without a network and installed into an empty folder, is all of the program."""

import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from patience import HANG_S
from springhouse_host.report.view import cautions
from springhouse_host.site.hashes import firmware_sha256, simulation_sha256
from springhouse_sim import board_files
from wheel_alone import lowest

REPOSITORY = Path(__file__).parents[2]
SOURCES = ("firmware", "sim", "hostlib", "wiring")
LEFT_OUT = {"firmware/mypy.ini"}  # for those who work on it


def run(*command: object, cwd: Path, **more: str) -> str:
    done = subprocess.run(
        [str(word) for word in command],
        cwd=cwd,
        env={k: v for k, v in os.environ.items() if k != "PYTHONPATH"} | more,
        capture_output=True,
        text=True,
        timeout=HANG_S,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout


def tracked() -> Iterator[str]:
    """All files of the folders that a wheel holds, by POSIX path."""
    for name in SOURCES:
        for path in (REPOSITORY / name).rglob("*"):
            made = {"__pycache__", ".mypy_cache"} & set(path.parts)
            made |= {part for part in path.parts if part.endswith(".egg-info")}
            if path.is_file() and not made:
                yield path.relative_to(REPOSITORY).as_posix()


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    # Of a copy: setuptools builds in the tree and takes along what an earlier build left there.
    work = tmp_path_factory.mktemp("wheel")
    copy = work / "copy"
    for name in tracked():
        (copy / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(REPOSITORY / name, copy / name)
    for name in ("LICENSE", "README.md", "pyproject.toml", "setup.py"):
        shutil.copy(REPOSITORY / name, copy)
    offline = ("--quiet", "--disable-pip-version-check", "--no-index", "--no-deps")
    made = ("wheel", "--no-build-isolation", "--wheel-dir", work, copy)
    run(sys.executable, "-m", "pip", made[0], *offline, *made[1:], cwd=work)
    (found,) = work.glob("*.whl")
    return found


@pytest.fixture(scope="module")
def installed(wheel) -> Path:
    folder = wheel.with_name("installed")
    offline = ("--quiet", "--disable-pip-version-check", "--no-index", "--no-deps")
    pip = (sys.executable, "-m", "pip", "install", *offline)
    run(*pip, "--no-compile", "--target", folder, wheel, cwd=folder.parent)
    return folder


def ask(installed: Path, question: str) -> str:
    """What a line of Python prints where only the wheel is installed."""
    here = installed.parent
    return run(sys.executable, "-c", question, cwd=here, PYTHONPATH=str(installed)).strip()


def name_in_wheel(path: str) -> str:
    if path.startswith(("firmware/springhouse/", "sim/", "hostlib/")):
        return path.partition("/")[2]
    return f"{board_files.INSTALLED}/{path}"


def test_every_file_is_in_the_wheel_once_and_nothing_else(wheel) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    wanted = {name_in_wheel(path) for path in tracked() if path not in LEFT_OUT}
    assert {name for name in names if ".dist-info/" not in name} == wanted
    assert len(names) == len(set(names))
    licence = "springhouse/display/ssd1306/LICENSE"
    assert licence in wanted
    assert sum(f"licenses/firmware/{licence}" in name for name in names) == 1


def test_what_is_installed_is_what_runs_and_has_the_same_hashes(installed) -> None:
    said = ask(
        installed,
        "import springhouse, springhouse_host, springhouse_sim as sim\n"
        "from springhouse_host.site import hashes\n"
        "for p in (springhouse, springhouse_host, sim): print(p.__file__)\n"
        "print(hashes.firmware_sha256(), hashes.simulation_sha256())",
    ).splitlines()
    assert all(Path(file).is_relative_to(installed) for file in said[:3])
    assert said[3].split() == [firmware_sha256(), simulation_sha256()]


def test_board_image_from_the_wheel_is_that_of_the_checkout(installed, tmp_path) -> None:
    build = (sys.executable, "-m", "springhouse_host.flashing.build")
    listed = (installed / "springhouse_files/firmware/package.json").stat()
    run(*build, tmp_path / "wheel", cwd=tmp_path, PYTHONPATH=str(installed))
    manifest = (tmp_path / "wheel/pico_w/code/manifest.json").read_text()
    assert json.loads(manifest)["firmware_sha256"] == firmware_sha256()
    assert (tmp_path / "wheel/pico_w/main.py").read_bytes() == (
        REPOSITORY / "firmware/main.py"
    ).read_bytes()
    after = (installed / "springhouse_files/firmware/package.json").stat()
    assert after.st_mtime_ns == listed.st_mtime_ns  # what is installed is not written


def test_commands_run_from_the_wheel(installed, tmp_path) -> None:
    program = installed / "bin/springhouse"

    def springhouse(*words: str) -> str:
        return run(sys.executable, program, *words, cwd=tmp_path, PYTHONPATH=str(installed))

    assert "Live with it" in springhouse("--help")
    assert "wrote mine/site.toml" in springhouse("new", "mine")
    assert "first limit" in springhouse("size", "mine/site.toml")
    assert "first limit" in springhouse("size", "bedroom-night")
    assert "pin" in springhouse("wiring", "demo")


def test_the_report_finds_its_texts_in_the_wheel(installed) -> None:
    said = ask(
        installed,
        "from springhouse_host.report.view import cautions\n"
        "from springhouse_host.report.html import _own\n"
        "print([lead for lead, _ in cautions()])\n"
        "print(len(_own('report.css')), len(_own('report.js')))",
    )
    assert said.splitlines()[0] == str([lead for lead, _ in cautions()])


def test_an_installation_without_the_boards_files_is_refused_in_a_line(installed, tmp_path) -> None:
    broken = tmp_path / "installed"
    shutil.copytree(installed, broken)
    (broken / "springhouse_files/firmware/main.py").unlink()
    done = subprocess.run(
        [sys.executable, "-m", "springhouse_host.flashing.build", tmp_path / "image"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(broken)},
        capture_output=True,
        text=True,
        timeout=HANG_S,
    )
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "main.py: is missing: install springhouse again" in done.stderr
    assert not (tmp_path / "image").exists()


def test_every_dependency_has_a_lower_bound_that_can_be_tried() -> None:
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text("utf-8"))["project"]
    assert len(lowest()) == len(project["dependencies"])
    assert all(re.fullmatch(r"[A-Za-z0-9-]+==[0-9][0-9a-z.]*", pin) for pin in lowest())
