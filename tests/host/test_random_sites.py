"""Any installation that the schema can say: a result whose balances close, or a key that is named.

The same draws every time; `python tests/host/random_sites.py 5000` tries others.
"""

import pytest
from hypothesis import HealthCheck, given, settings
from random_sites import KEYS, installations, values
from site_looks import Changes, key_of, look
from springhouse_host.errors import SiteError
from springhouse_host.site import load_site

SEEN: dict[int, list[bool]] = {depth: [] for depth in range(4)}


def tried(depth: int, count: int) -> None:
    """Try so many installations; some must be taken and, of many, some refused."""

    @settings(
        max_examples=count, deadline=None, derandomize=True, database=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(installations())
    def each(site: tuple[str, Changes]) -> None:
        SEEN[depth].append(not look(*site, depth=depth).refused)

    each()
    assert any(SEEN[depth])


def test_files_settings_and_wiring() -> None:
    tried(0, 300)
    assert not all(SEEN[0])


def test_sizing_sheets() -> None:
    tried(1, 8)


def test_days_that_are_run_close_their_balances() -> None:
    tried(2, 6)


def test_short_proofs_other_ways_and_pages() -> None:
    tried(3, 1)


def test_every_key_has_values_to_draw() -> None:
    for name, key in KEYS:
        assert values(name, key) is not None, (name, key)


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ("demo: coil.fans: 99: a whole number from 1 to 12", "coil.fans"),
        ("demo: [coil]: missing: a table with fans", "coil"),
        ("demo: coil.fins: 9: no such key", None),
        ("demo: mid reading of the labels: Loop.coil_length_m: 900: from 0.1 to 100 m", None),
        ("internal error", None),
    ],
)
def test_what_counts_as_naming_a_key(line: str, key: str | None) -> None:
    assert key_of(line) == key


def test_a_refused_site_names_each_key() -> None:
    with pytest.raises(SiteError) as refused:
        load_site("demo", {"coil.fans": 99, "loop.lift_m": "high"})
    assert {key_of(line) for line in refused.value.lines} == {"coil.fans", "loop.lift_m"}
