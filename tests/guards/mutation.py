"""Mutation testing of the control core: change it, and see whether a test notices.

    python tests/guards/mutation.py FOLDER [--modules M,M] [--sample N] [--seed K] [--longest S]
    python tests/guards/mutation.py FOLDER --again

Works in a copy of the tree in FOLDER. The mutants are cosmic-ray's (requirements-mutation.txt);
the tests run in forks of one warm process (mutant_judge.py), for a fresh process a mutant, as
cosmic-ray has it, took a day for all. Set aside is a mutant that is the same program in other
words, or for the statechart leads everywhere where the original leads; one that no test can
notice, since it does the same, is argued in equivalent_mutants.toml. `--longest` leaves out files
of tests that take more than so many CPU seconds: more mutants survive then, none more is killed.
`--again` copies the tests anew and judges those that had survived. Stopped at any time, it goes
on where it was. Leaves with 1 if one survived that is not argued.
"""

from __future__ import annotations

import argparse
import collections
import random
import shutil
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path

from cosmic_ray import plugins
from cosmic_ray.commands import init
from cosmic_ray.mutating import use_mutation
from cosmic_ray.work_db import WorkDB, use_db
from cosmic_ray.work_item import TestOutcome, WorkerOutcome, WorkItem, WorkResult
from mutant_judge import PRICES, Judge, no_bytecode, same_program

ROOT = Path(__file__).parents[2]
EQUIVALENT = Path(__file__).parent / "equivalent_mutants.toml"
MODULES = (
    "conditions",
    "controller",
    "events",
    "horizon",
    "interlock",
    "near",
    "probes",
    "setting",
    "statechart",
    "timekeeping",
    "vouching",
    "week",
)
COPIED = ("firmware", "sim", "hostlib", "tests", "wiring", "pyproject.toml")
KILLERS = (
    "firmware/test_absent_sensors.py",
    "firmware/test_charging.py",
    "firmware/test_complete_check.py::test_the_core_has_no_mistake_and_every_case_was_looked_at",
    "firmware/test_complete_check.py",
    "firmware/test_compressor_care.py",
    "firmware/test_condition_flags.py",
    "firmware/test_condition_words.py",
    "firmware/test_core_syntax.py",
    "firmware/test_delivery.py",
    "firmware/test_delivery_guards.py",
    "firmware/test_freeze_guard.py",
    "firmware/test_horizon.py",
    "firmware/test_horizon_edges.py",
    "firmware/test_inv_room.py",
    "firmware/test_inv_store.py",
    "firmware/test_inv_whole.py",
    "firmware/test_near.py",
    "firmware/test_owner.py",
    "firmware/test_probe_trust.py",
    "firmware/test_reasons.py",
    "firmware/test_settings_schema.py",
    "firmware/test_timekeeping.py",
    "firmware/test_transitions_oracle.py",
    "firmware/test_vouching.py",
    "firmware/test_waits_armed.py",
    "firmware/test_week.py",
    "firmware/test_welded.py",
    "guards/test_arithmetic.py",
)


def copy(folder: Path, names: tuple[str, ...]) -> None:
    """Copy these parts of the tree anew."""
    for name in names:
        source = ROOT / name
        if source.is_dir():
            shutil.rmtree(folder / name, ignore_errors=True)
            ignore = shutil.ignore_patterns("__pycache__", ".hypothesis")
            shutil.copytree(source, folder / name, ignore=ignore)
        else:
            shutil.copy(source, folder / name)


def core_file(folder: Path, module: str) -> Path:
    """Where a module of the core lies in the copy."""
    return folder / "firmware" / "springhouse" / f"{module}.py"


def choose(session: WorkDB, folder: Path, modules: list[str], count: int, seed: int) -> None:
    """List all mutants, keep a random sample of them (0: all)."""
    init([core_file(folder, module) for module in modules], session, {})
    items = shuffled(session, seed)
    of = collections.Counter(item.mutations[0].module_path.stem for item in items)
    print(f"{len(items)} mutants in all: " + ", ".join(f"{m} {n}" for m, n in of.items()))
    if count:
        session.clear()
        session.add_work_items(items[:count])


def shuffled(session: WorkDB, seed: int) -> list[WorkItem]:
    """Mutants in an order that repeats: those judged when stopped are a random sample as well."""
    items = sorted(session.work_items, key=_place)
    random.Random(seed).shuffle(items)
    return items


def _place(item: WorkItem) -> tuple[str, tuple[int, int], str, int]:
    change = item.mutations[0]
    return str(change.module_path), change.start_pos, change.operator_name, change.occurrence


def judge_pending(session: WorkDB, seed: int, judge: Callable[[str], str]) -> None:
    """Judge every mutant that has no verdict yet."""
    done = {job for job, _ in session.results}
    for item in shuffled(session, seed):
        if item.job_id in done:
            continue
        change = item.mutations[0]
        path = change.module_path
        operator = plugins.get_operator(change.operator_name)(**change.operator_args)
        with use_mutation(path, operator, change.occurrence) as (original, mutated):
            assert mutated is not None, item
            if same_program(path.stem, original, mutated):
                result = WorkResult(WorkerOutcome.SKIPPED, "the same program")
            else:
                killer = judge(path.stem)
                outcome = TestOutcome.KILLED if killer else TestOutcome.SURVIVED
                result = WorkResult(WorkerOutcome.NORMAL, killer, outcome)
        session.set_result(item.job_id, result)


def forget_survivors(session: WorkDB, folder: Path) -> None:
    """Take back the verdict on those that lived, and copy the tests anew."""
    copy(folder, ("tests",))
    items = {item.job_id: item for item in session.work_items}
    kept = {job: result for job, result in session.results if result.is_killed}
    session.clear()
    session.add_work_items(items.values())
    for job, result in kept.items():
        session.set_result(job, result)


def argued() -> set[tuple[str, str, str]]:
    """Mutants that do the same as the original, each with its reason in the file."""
    entries = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8"))["mutant"]
    return {(e["file"], e["line"], o) for e in entries for o in e["operators"]}


def report(session: WorkDB) -> int:
    """Print the score of each module and who survived; returns how many are not argued."""
    results = dict(session.results)
    known = argued()
    counts: dict[str, collections.Counter[str]] = {}
    unknown = []
    for item in sorted(session.work_items, key=_place):
        change = item.mutations[0]
        path = change.module_path
        verdict = _verdict(results.get(item.job_id))
        if verdict == "survived":
            line = path.read_text(encoding="utf-8").splitlines()[change.start_pos[0] - 1].strip()
            operator = change.operator_name.removeprefix("core/")
            if (path.name, line, operator) in known:
                verdict = "argued"
            else:
                where = f"{path.name}:{change.start_pos[0]}:{change.start_pos[1]}"
                unknown.append(f"{where}: {operator} #{change.occurrence}: {line}")
        counts.setdefault(path.stem, collections.Counter())[verdict] += 1
    total = sum(counts.values(), collections.Counter())
    for name, c in [*counts.items(), ("all", total)]:
        score = 100.0 * c["killed"] / max(1, c["killed"] + c["survived"])
        print(
            f"{name}: {c['killed']} killed, {c['survived']} survived, {c['argued']} argued"
            f" equivalent, {c['same']} the same program, {c['pending']} not judged:"
            f" {score:.1f} % of those that differ"
        )
    for text in unknown:
        print(f"survived: {text}")
    return len(unknown)


def _verdict(result: WorkResult | None) -> str:
    if result is None:
        return "pending"
    if result.worker_outcome is WorkerOutcome.SKIPPED:
        return "same"
    return str(result.test_outcome.value)


def main() -> int:
    """Run, report, return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--modules", default=",".join(MODULES))
    parser.add_argument("--sample", type=int, default=140, help="0: all of them")
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--longest", type=int)
    parser.add_argument("--again", action="store_true")
    asked = parser.parse_args()
    folder = asked.folder.resolve()
    fresh = not folder.exists()
    if fresh:
        folder.mkdir(parents=True)
        copy(folder, COPIED)
        shutil.copytree(folder / "firmware", folder / "original")
    # A run that was stopped may have left a mutant behind.
    shutil.copytree(folder / "original", folder / "firmware", dirs_exist_ok=True)
    with use_db(folder / "session.sqlite", WorkDB.Mode.create) as session:
        if fresh:
            choose(session, folder, asked.modules.split(","), asked.sample, asked.seed)
        elif asked.again:
            forget_survivors(session, folder)
            (folder / PRICES).unlink(missing_ok=True)
        judge = Judge(folder, KILLERS, asked.longest)
        no_bytecode(core_file(folder, module) for module in MODULES)
        judge_pending(session, asked.seed, judge)
        return 1 if report(session) else 0


if __name__ == "__main__":
    sys.exit(main())
