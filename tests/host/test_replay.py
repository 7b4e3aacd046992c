"""The comparison of compiled and interpreted controller, and that it can fail."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from springhouse_host.proof import placing, replay, running, scenarios
from springhouse_host.site import load_site
from springhouse_sim.bench import Pace


def test_a_span_agrees_and_a_difference_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    site = load_site("demo")
    corner = next(
        s for s in placing.standard(site, variants=scenarios.MIDDLE) if s.group == "corner"
    )
    assert replay.replay(site, corner, 120) == replay.Replay(120, 0)

    def other_noise(*args: Any, compile_ticks: bool, **options: Any) -> Any:
        moved = replace(args[1], seed=args[1].seed + (0 if compile_ticks else 1))
        return running.bench(args[0], moved, compile_ticks=compile_ticks, **options)

    monkeypatch.setattr(replay, "bench", other_noise)
    assert replay.replay(site, corner, 120).differing > 60


def test_the_summer_is_proven_whole() -> None:
    """June to August of the file, for each reading of the labels, and each corner of it."""
    found = [s for s in placing.standard(load_site("demo")) if s.days == 92]
    assert all((s.start.month, s.start.day) == (6, 1) for s in found)
    assert sum(s.group == "nominal" for s in found) == 3
    assert sum(s.group == "corner" for s in found) == 15


@pytest.mark.slow
def test_the_skip_leaves_what_every_tick_leaves_over_the_whole_demo_summer() -> None:
    """Every event, sample and figure of 92 days, and the plant at their end, bit for bit."""
    site = load_site("demo")
    summer = scenarios.whole_summer(site)
    some, every = (
        running.bench(site, summer, pace=pace).run(summer.days)
        for pace in (Pace.SKIP, Pace.EVERY_TICK)
    )
    assert some.events.tolist() == every.events.tolist()
    assert np.array_equal(some.samples, every.samples)
    assert np.array_equal(some.ended, every.ended)
    assert some.counts.tolist() == every.counts.tolist()
    assert some.peaks.tolist() == every.peaks.tolist()
    assert len(some.events) > 1000
