"""Mutation testing of the control core: change it at random, and see whether a test notices.

    python tests/guards/mutation.py FOLDER [--sample N] [--seed K]

Works in a copy of the tree in FOLDER, with cosmic-ray (requirements-mutation.txt). All mutants take
a day of processor time, so a random sample is the rule; the score is that of the sample. A mutant
that no test can notice, since it does the same, is argued in equivalent_mutants.toml. Leaves with
1 if one survived that is not argued there.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sqlite3
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
EQUIVALENT = Path(__file__).parent / "equivalent_mutants.toml"
MODULES = (
    "conditions",
    "controller",
    "events",
    "interlock",
    "probes",
    "setting",
    "statechart",
    "timekeeping",
    "week",
)
COPIED = ("firmware", "sim", "hostlib", "tests", "wiring", "pyproject.toml")
CPU_S = 400  # a mutant that never ends is noticed; all killers take a quarter of it
TIMEOUT_S = 7200
# Cheap tests first, and those that see much: most mutants do not live to see the others.
KILLERS = (
    "firmware/test_settings_schema",
    *("firmware/test_delivery", "firmware/test_delivery_guards", "firmware/test_freeze_guard"),
    *("firmware/test_probe_trust", "firmware/test_absent_sensors", "firmware/test_charging"),
    *("firmware/test_owner", "firmware/test_week", "firmware/test_compressor_care"),
    *("firmware/test_horizon_edges", "firmware/test_core_syntax", "firmware/test_reasons"),
    *("firmware/test_transitions_oracle", "guards/test_arithmetic", "firmware/test_horizon"),
    *("firmware/test_inv_room", "firmware/test_inv_whole", "firmware/test_complete_check"),
    "firmware/test_inv_store",
)


def prepare(folder: Path) -> None:
    """Copy the tree and write the configuration."""
    folder.mkdir(parents=True)
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            ignore = shutil.ignore_patterns("__pycache__", ".hypothesis")
            shutil.copytree(source, folder / name, ignore=ignore)
        else:
            shutil.copy(source, folder / name)
    tests = " ".join(f"tests/{name}.py" for name in KILLERS)
    paths = ":".join(str(folder / name) for name in ("firmware", "sim", "hostlib"))
    variables = f"PYTHONPATH={paths} PYTHONDONTWRITEBYTECODE=1 HYPOTHESIS_PROFILE=first"
    variables += f" PYTEST_DISABLE_PLUGIN_AUTOLOAD=1 SPRINGHOUSE_CACHE={folder / 'cache'}"
    command = f"env {variables} {sys.executable} -m pytest -q -x -p no:cacheprovider {tests}"
    modules = [str(folder / "firmware" / "springhouse" / f"{name}.py") for name in MODULES]
    (folder / "cosmic.toml").write_text(
        "[cosmic-ray]\n"
        f"module-path = {modules}\n"
        f"timeout = {TIMEOUT_S}.0\n"
        "excluded-modules = []\n"
        f"test-command = 'sh -c \"ulimit -t {CPU_S}; exec {command}\"'\n"
        '[cosmic-ray.distributor]\nname = "local"\n'
    )


def sample(session: Path, count: int, seed: int) -> int:
    """Keep a random sample of all mutants; returns how many there are in all."""
    with sqlite3.connect(session) as data:
        rows = data.execute(
            "select module_path, start_pos_row, start_pos_col, operator_name, occurrence, job_id"
            " from mutation_specs"
        ).fetchall()
        rows.sort()
        random.Random(seed).shuffle(rows)
        for row in rows[count:]:
            for table in ("mutation_specs", "work_items"):
                data.execute(f"delete from {table} where job_id = ?", row[-1:])
    return len(rows)


def survivors(session: Path) -> tuple[int, list[tuple[str, str, str]]]:
    """How many mutants were judged; (file, line, operator) of those that lived."""
    found = []
    with sqlite3.connect(session) as data:
        rows = data.execute(
            "select module_path, start_pos_row, operator_name, test_outcome from mutation_specs"
            " join work_results using (job_id)"
        ).fetchall()
    for path, row, operator, outcome in rows:
        if outcome == "SURVIVED":
            line = Path(path).read_text(encoding="utf-8").splitlines()[row - 1].strip()
            found.append((Path(path).name, line, operator.removeprefix("core/")))
    return len(rows), found


def argued() -> set[tuple[str, str, str]]:
    """Mutants that do the same as the original, each with its reason in the file."""
    entries = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8"))["mutant"]
    return {(e["file"], e["line"], o) for e in entries for o in e["operators"]}


def main() -> int:
    """Run, report, return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sample", type=int, default=140)
    parser.add_argument("--seed", type=int, default=20)
    asked = parser.parse_args()
    folder = asked.folder.resolve()
    session = folder / "session.sqlite"
    tool = [sys.executable, "-m", "cosmic_ray.cli"]
    if not session.exists():
        prepare(folder)
        subprocess.run([*tool, "baseline", "cosmic.toml"], cwd=folder, check=True)  # all must pass
        subprocess.run([*tool, "init", "cosmic.toml", session.name], cwd=folder, check=True)
        print(f"{sample(session, asked.sample, asked.seed)} mutants in all")
    subprocess.run([*tool, "exec", "cosmic.toml", session.name], cwd=folder, check=True)
    judged, lived = survivors(session)
    unknown = [mutant for mutant in lived if mutant not in argued()]
    killed = judged - len(lived)
    print(f"{judged} judged, {killed} killed, {len(lived) - len(unknown)} argued equivalent")
    print(f"score {100.0 * killed / max(1, killed + len(unknown)):.1f} % of those that differ")
    for file, line, operator in unknown:
        print(f"survived: {file}: {operator}: {line}")
    return 1 if unknown else 0


if __name__ == "__main__":
    sys.exit(main())
