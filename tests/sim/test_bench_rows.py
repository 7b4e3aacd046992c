"""Logs that are handed on instead of kept: the same rows, and memory that does not grow."""

from pathlib import Path

import numpy as np
import pytest
from bench_rig import bench
from numpy.typing import NDArray
from springhouse_sim import bench as bench_module
from springhouse_sim.bench import Pace

PAGE_KB = 4


def test_rows_handed_on_are_those_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bench_module, "SAMPLE_ROWS", 700)  # a long step needs 600 of them free
    kept = bench(pace=Pace.SKIP, compile_ticks=False).run(0.2)
    events: list[NDArray[np.int64]] = []
    samples: list[NDArray[np.float64]] = []

    def take(some: NDArray[np.int64], more: NDArray[np.float64]) -> None:
        events.append(some)
        samples.append(more)

    bare = bench(pace=Pace.SKIP, compile_ticks=False).run(0.2, on_rows=take)
    assert len(samples) > 1
    assert np.array_equal(np.concatenate(events), kept.events)
    assert np.array_equal(np.concatenate(samples), kept.samples)
    assert np.array_equal(bare.ended, kept.ended)
    with pytest.raises(ValueError, match="handed its samples on"):
        bare.hours_over(24.0)


def resident_kb() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * PAGE_KB


@pytest.mark.slow
def test_ten_years_take_no_more_memory_than_one() -> None:
    seen: list[tuple[float, int]] = []

    def take(events: NDArray[np.int64], samples: NDArray[np.float64]) -> None:
        if len(samples):
            seen.append((float(samples[-1, 0]) / 86_400 / 365, resident_kb()))

    bench(weather=True, pace=Pace.SKIP, compile_ticks=True).run(3650, on_rows=take)
    after_one = next(kb for year, kb in seen if year >= 1.0)
    print(f"resident after 1 year {after_one} kB, after 10 years {seen[-1][1]} kB")
    assert seen[-1][1] - after_one < 4096
