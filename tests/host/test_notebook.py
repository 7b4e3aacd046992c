"""The commands as functions: the documented examples run, frames are indexed and carry units."""

import doctest
import inspect
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
import springhouse_host
from springhouse_host import load_site, notebook, run, sweep
from springhouse_host.errors import KnownError
from springhouse_host.proof import running, scenarios

WITHOUT_UNIT = {"store_state", "room_state", "out", "mains", "time_s"}


def test_the_documented_example_runs() -> None:
    found = doctest.testmod(notebook)
    assert found.attempted >= 4
    assert found.failed == 0


def test_the_import_is_lazy() -> None:
    heavy = (
        "import sys, springhouse_host; print({'pandas', 'numpy', 'pydantic'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", heavy], capture_output=True, text=True, check=True)
    assert done.stdout == "set()\n"
    with pytest.raises(AttributeError, match="has no attribute 'fitt'"):
        springhouse_host.fitt  # noqa: B018


def test_every_function_is_documented_and_typed() -> None:
    for name in springhouse_host.__all__:
        function = getattr(springhouse_host, name)
        signature = inspect.signature(function)
        assert signature.return_annotation is not inspect.Signature.empty
        assert all(p.annotation is not p.empty for p in signature.parameters.values())
        for parameter in signature.parameters:
            assert f"{parameter}:" in function.__doc__, f"{name}: {parameter}"


def test_frames_of_a_run() -> None:
    done = run("demo", start="2001-07-09", days=1, faults=["probe_open.store_low@2:00-3:30"])
    assert isinstance(done.minutes.index, pd.DatetimeIndex)
    assert done.minutes.index[0] == pd.Timestamp("2001-07-09 01:00")  # summer time, as the wall's
    assert len(done.minutes) == 1440
    units = ("c", "kg", "w", "l", "wh", "j", "l_min", "humidity", "ratio", "k", "pa")
    ends = tuple(f"_{unit}" for unit in units)
    unnamed = [c for c in done.minutes.columns if not c.endswith(ends) and c not in WITHOUT_UNIT]
    assert unnamed == []
    assert done.changes.index.is_monotonic_increasing
    assert "ms" not in done.changes.columns
    heat = done.heat_kwh["store_kwh"].dropna()
    assert heat["evaporator"] < 0.0 < heat["cabinet"]


@pytest.mark.parametrize(
    ("kwargs", "says"),
    [
        ({"days": 0}, "days: 0: from 1 to 366"),
        ({"start": "July"}, "start: 'July': a day such as"),
        ({"site": "no.toml"}, "no.toml: cannot be read"),
        ({"faults": ["flood@1:00"]}, "flood"),
    ],
)
def test_bad_input_is_one_clear_line(kwargs: dict[str, object], says: str) -> None:
    with pytest.raises(KnownError, match=says) as refused:
        run(**kwargs)  # type: ignore[arg-type]
    assert len(refused.value.lines) == 1


def test_changes_are_run_in_every_process() -> None:
    """A changed site is another site: also where a process loads it anew, and its sun too."""
    plain, dark = load_site("demo"), load_site("demo", {"room.window_shade": "none"})
    case = scenarios.single(plain, None, 1)
    mean_c = [
        running.run_one(site.path, case, changed=site.changed).summary["wanted_mean_c"]
        for site in (plain, dark)
    ]
    assert mean_c[1] > mean_c[0] + 0.05
    assert run(dark, days=1).summary["wanted_mean_c"] == mean_c[1]


def test_a_sweep_is_a_frame(tmp_path: Path) -> None:
    out = tmp_path / "t.parquet"
    found = sweep("demo", {"settings.room_target_c": (25, 26, 2)}, days=1, out=out)
    assert list(found["settings.room_target_c"]) == [25.0, 26.0]
    assert found["wanted_mean_c"].is_monotonic_increasing
    assert out.exists()
    changed = load_site("demo", {"room.window_shade": "none"})
    warmer = sweep(changed, {"settings.room_target_c": (25, 26, 2)}, days=1)
    assert (warmer["wanted_mean_c"] > found["wanted_mean_c"]).all()
