"""The tool that measures MC/DC, on decisions whose coverage can be told by hand."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from mcdc import RECORDER, Decision, Seen, instrument, shown

TEXT = '''"""A module."""
LIMIT = 3 > 2


def f(a, b, c):
    """A function."""
    if a and (b or not c):
        return 1
    return 0


def g(x):
    return 0 <= x < 10


def h(x):
    return [f(x, 1, 0) if x > 2 else 7][0]
'''


def test_decisions_and_their_conditions_are_found() -> None:
    _, found = instrument(TEXT, "m")
    assert [(d.function, d.conditions) for d in found] == [
        ("f", ("a", "b", "c")),
        ("g", ("0 <= x", "x < 10")),
        ("h", ("x > 2",)),
    ]
    assert len({d.key for d in found}) == len(found)
    assert isinstance(found[0], Decision)


def test_an_instrumented_module_does_the_same_and_tells(tmp_path: Path) -> None:
    text, found = instrument(TEXT, "m")
    recorder: dict[str, object] = {}
    exec(RECORDER.replace("atexit.register(save)", ""), recorder)
    module = type(sys)("_mcdc")
    module.__dict__.update(recorder)
    plain: dict[str, object] = {}
    telling: dict[str, object] = {}
    exec(TEXT, plain)
    before = sys.modules.get("_mcdc")
    sys.modules["_mcdc"] = module
    try:
        exec(text, telling)
        for a in range(12):
            for name in ("g", "h"):
                assert telling[name](a) == plain[name](a)  # type: ignore[operator]
    finally:
        if before is None:
            del sys.modules["_mcdc"]
        else:
            sys.modules["_mcdc"] = before
    seen: dict[str, Seen] = module.seen
    assert seen[found[1].key] == {((True, True), True), ((True, False), False)}
    assert not module.stack


@pytest.mark.parametrize(
    ("seen", "which"),
    [
        # `a and (b or not c)`, vectors of (a, b, c): none, one, all shown
        ({((True, True, None), True)}, ()),
        ({((True, True, None), True), ((False, None, None), False)}, (0,)),
        ({((True, True, None), True), ((True, False, True), False)}, (1,)),
        (
            {
                ((True, True, None), True),
                ((False, None, None), False),
                ((True, False, True), False),
                ((True, False, False), True),
            },
            (0, 1, 2),
        ),
        # two conditions differ: neither is shown
        ({((True, False), True), ((False, True), False)}, ()),
    ],
)
def test_a_condition_is_shown_by_a_pair_that_differs_in_it_alone(
    seen: Seen, which: tuple[int, ...]
) -> None:
    size = len(next(iter(seen))[0])
    assert tuple(i for i in range(size) if shown(seen, i)) == which
