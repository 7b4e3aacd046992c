"""A test file of one step of the controller that went wrong, whoever found it."""

from collections.abc import Sequence
from pathlib import Path

_TEMPLATE = '''"""{title}

Written by {by}.
What went wrong is told below; the assertion says what must not come out.

{story}
"""

from array import array

from springhouse import controller

SETTINGS = {settings}
READINGS = {readings}
BEFORE = {before}
WRONG_OUTPUTS = {out}
WRONG_AFTER = {after}


def test_{name}() -> None:
    memory = array("i", BEFORE)
    out = controller.step(memory, array("i", SETTINGS), array("i", READINGS))
    assert (out, list(memory)) != (WRONG_OUTPUTS, WRONG_AFTER)
'''


def write(
    folder: Path,
    name: str,
    by: str,
    story: Sequence[str],
    *,
    settings: list[int],
    readings: list[int],
    before: list[int],
    out: int,
    after: list[int],
) -> Path:
    """Write the step as a test that fails until it is mended; ``story`` is its title and lines."""
    path = folder / f"test_{name}.py"
    text = _TEMPLATE.format(
        title=story[0],
        by=by,
        story="\n".join(story[1:]),
        name=name,
        settings=settings,
        readings=readings,
        before=before,
        out=out,
        after=after,
    )
    path.write_text(text, encoding="utf-8")
    return path
