"""Board tests: the few calls that only the board's asyncio has, and a board without a network."""

import asyncio
import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


async def _sleep_ms(_ms: int) -> None:
    await asyncio.sleep(0)


if not hasattr(asyncio, "sleep_ms"):
    asyncio.sleep_ms = _sleep_ms  # type: ignore[attr-defined]


@pytest.fixture
def quick(monkeypatch) -> None:
    """For flashing: a prompt says nothing unasked, so listen briefly; build the image once."""
    import built
    from springhouse_host.flashing import flash

    monkeypatch.setattr(flash, "LISTEN_S", 0.3)
    monkeypatch.setattr(flash, "build", built.image)


@pytest.fixture(scope="session")
def alone(tmp_path_factory):
    """Scans and output changes of a board without a network, as `net_rig.lived` gives them."""
    from net_rig import RUN_S, lived, print_scans
    from rig import Rig

    folder = tmp_path_factory.mktemp("alone")
    made = Rig(folder)
    shutil.rmtree(folder / "springhouse" / "net")  # it must not even be imported
    print_scans(made)
    made.power().run(RUN_S)
    assert all(made.motors())
    made.close()
    return lived(made)
