"""Counts the listed outside values that tests use on our own functions, and names the others.

The list has 125 ids. An id counts where a test quotes it, unless it stands in ``NOT_USED`` or
``NOT_COUNTED``. The test fails when a listed id is in none of the three places, when one is
claimed unused though a test quotes it, and when fewer than 80 count.
"""

import ast
import re
from pathlib import Path

LISTED = {
    "W": range(1, 17),  # water and ice
    "P": range(1, 17),  # moist air
    "X": (*range(1, 10), *range(11, 19)),  # heat exchangers
    "H": (*range(1, 12), 13, 14, 15, 16),  # hydraulics
    "R": range(1, 14),  # refrigeration
    "E": range(1, 14),  # envelope and tube
    "L": (1, *range(3, 10)),  # people and equipment
    "S": range(1, 19),  # sensors and firmware
    "I": range(1, 7),  # ice growth
    "B": (1, 3, 4),  # battery
}
IDS = tuple(f"{letter}{n}" for letter, numbers in LISTED.items() for n in numbers)

NOT_USED = {
    "B4": "a battery is asked for its usable energy; no runtime follows from a current",
    "L5": "a constant in one product, the watts of a sleeper; no function takes a rate in met",
    "L7": "no body surface is computed: a sleeper's is a constant",
    "W6": "ice counts as held at 0 °C, so its heat capacity is nowhere in the model",
    "P16": "no code of ours uses the Magnus form for a result: only as Newton's first guess",
    "S18": "a rule for choosing a relay, in words in the wiring folder; nothing computes with it",
}
# Quoted, but the same library stands on both sides, or only our own constants.
NOT_COUNTED = {
    **dict.fromkeys(("R1", "R2", "R3", "R4", "R5", "R6"), "CoolProp on both sides"),
    "R8": "a definition that our defaults repeat",
    "R11": "swept volume times a CoolProp state",
    "R12": "ratio of two CoolProp states",
    "E11": "arithmetic on W3",
    **dict.fromkeys(
        ("W4", "W5", "W7", "H4", "H14", "E1", "S1", "S2", "S15"),
        "a constant of ours beside it, no function",
    ),
}

TESTS = Path(__file__).parents[1]
# Not the "R10" of IAPWS R10-06.
QUOTED = re.compile(r"(?<![A-Za-z0-9_])([WPXHRELSIB])(\d{1,2})(?![A-Za-z0-9_]|-\d)")
SPAN = re.compile(
    r"(?<![A-Za-z0-9_])([WPXHRELSIB])(\d{1,2})(?:\.\.| to )\1(\d{1,2})(?![A-Za-z0-9_])"
)


def quoted_in(text: str) -> set[str]:
    """Return the ids a text names, spans such as H5 to H10 spelled out."""
    found = {f"{letter}{n}" for letter, n in QUOTED.findall(text)}
    for letter, first, last in SPAN.findall(text):
        found |= {f"{letter}{n}" for n in range(int(first), int(last) + 1)}
    return found


def texts_of_tests(path: Path) -> list[str]:
    """Return the source of each test and of each table tests are fed from, comment above included.

    A module's docstring does not count: what it names must stand beside a check.
    """
    lines = path.read_text(encoding="utf-8").splitlines()
    found = []
    for node in ast.parse("\n".join(lines)).body:
        is_test = isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
        if not is_test and not isinstance(node, ast.Assign | ast.AnnAssign):
            continue
        begin = node.lineno - 1
        if isinstance(node, ast.FunctionDef) and node.decorator_list:
            begin = node.decorator_list[0].lineno - 1
        while begin > 0 and lines[begin - 1].startswith("#"):
            begin -= 1
        found.append("\n".join(lines[begin : node.end_lineno]))
    return found


def usage() -> dict[str, set[str]]:
    """Return for each listed id the test modules that quote it, this one left out."""
    found: dict[str, set[str]] = {ident: set() for ident in IDS}
    for path in sorted(TESTS.rglob("test_*.py")):
        if path == Path(__file__):
            continue
        for text in texts_of_tests(path):
            for ident in quoted_in(text) & found.keys():
                found[ident].add(path.name)
    return found


def test_the_list_is_complete() -> None:
    assert len(IDS) == 125


def test_every_listed_value_is_used_or_said_not_to_be() -> None:
    used = usage()
    silent = [ident for ident in IDS if not used[ident] and ident not in NOT_USED]
    assert not silent, f"neither used nor in NOT_USED: {', '.join(silent)}"
    both = [ident for ident in NOT_USED if used[ident]]
    assert not both, f"in NOT_USED though a test quotes it: {', '.join(both)}"
    assert set(NOT_COUNTED) <= set(IDS)


def test_at_least_eighty_count() -> None:
    counted = [i for i, where in usage().items() if where and i not in NOT_COUNTED]
    print(f"{len(counted)} of {len(IDS)} listed values used on our own functions")
    assert len(counted) >= 80
