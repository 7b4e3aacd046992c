"""Board tests under CPython: the few calls that only the board's asyncio has."""

import asyncio
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))


async def _sleep_ms(_ms: int) -> None:
    await asyncio.sleep(0)


if not hasattr(asyncio, "sleep_ms"):
    asyncio.sleep_ms = _sleep_ms  # type: ignore[attr-defined]
