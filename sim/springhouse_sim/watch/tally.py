"""Counting."""

from springhouse_sim.records import IntRecord


def tally(cases: IntRecord, violations: IntRecord, number: int, kept: bool) -> None:
    """Count one case of an invariant, and a violation if it was not kept."""
    cases[number] += 1
    if not kept:
        violations[number] += 1
