"""A bedroom at night: faults at 03:00 while it delivers, and at noon while it charges."""

import faults_by_hour
import pytest
from springhouse_host.site import load_site


@pytest.mark.parametrize(
    ("clock", "doing", "kind", "before", "after_s"),
    [
        (
            "03:00",
            "delivery",
            "prime_lost",
            "pump fan",
            12.0,
        ),  # no flow: as the promise on a dry pump
        (
            "03:00",
            "delivery",
            "probe_open",
            "pump fan",
            11.0,
        ),  # the room probe: as the proof's row asks
        ("12:00", "charging", "leak", "compressor", 7.0),
        ("12:00", "charging", faults_by_hour.MAINS, "compressor", 1.0),
    ],
)
def test_a_fault_in_the_night_and_at_noon(clock, doing, kind, before, after_s) -> None:
    site = load_site("bedroom-night")
    at = faults_by_hour.moment(site, clock)
    assert at.doing == doing
    found = faults_by_hour.answer(site, kind, at, "room")
    assert found.before == before
    when, what = found.changes[0]
    assert when <= after_s
    assert before.split()[0] not in what.split()
    assert found.broken == 0


def test_without_a_fault_nothing_changes() -> None:
    site = load_site("bedroom-night")
    at = faults_by_hour.moment(site, "12:00")
    found = faults_by_hour.answer(site, "none", at, "room")
    assert (found.before, found.changes, found.broken) == ("compressor", (), 0)
