"""The controller's two regions as drawings and tables, from the rows that the controller runs.

python handbook/statechart.py docs   writes the drawings there anew.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

from springhouse import condition, statechart, words

Row = tuple[int, int, int, int]

BOX_W, BOX_H = 168.0, 34.0
GAP = 7.0  # between an arrow's end and its box
LABEL_AT = 0.3  # of an arrow's length: not in the middle, where others cross
BEND = 15.0  # of an arrow away from the straight line, so that there and back are two


@dataclass(frozen=True)
class Region:
    """A side of the statechart: names of its states, its rows, names of its condition bits."""

    name: str
    states: Sequence[str]
    rows: Sequence[Row]
    bits: Sequence[str]
    places: Sequence[tuple[float, float]]  # centre of each state's box, in columns and rows


def _bit_names(first: str, count: int) -> tuple[str, ...]:
    names = [name for name in vars(condition) if name.isupper() and not name.endswith("_BITS")]
    begin = names.index(first)
    return tuple(name.lower().replace("_", " ") for name in names[begin : begin + count])


STORE = Region(
    "store side",
    words.STORE_STATES,
    statechart.STORE_ROWS,
    _bit_names("STORE_SEEN", condition.STORE_BITS),
    ((1.0, 1.3), (1.0, 0.0), (0.0, 0.6), (2.0, 0.6), (1.0, 2.6)),
)
ROOM = Region(
    "room side",
    words.ROOM_STATES,
    statechart.ROOM_ROWS,
    _bit_names("ROOM_SEEN", condition.ROOM_BITS),
    (
        *((1.0, 2.0), (1.0, 0.0), (2.0, 1.0), (2.0, 0.0)),
        *((0.0, 3.0), (2.0, 3.0), (0.0, 1.0), (1.0, 3.4)),
    ),
)


def _named(region: Region, word: int) -> Iterator[str]:
    return (name for bit, name in enumerate(region.bits) if word >> bit & 1)


def _sources(region: Region, row: Row) -> list[int]:
    return [state for state in range(len(region.states)) if row[0] >> state & 1]


def table(region: Region) -> str:
    """Return the rows as a Markdown table, numbered as in the drawing."""
    lines = [
        "| row | from | to | if all of these hold | and none of these |",
        "|---|---|---|---|---|",
    ]
    for number, row in enumerate(region.rows, 1):
        held, free = (", ".join(_named(region, word)) or "-" for word in row[1:3])
        sources = ", ".join(region.states[source] for source in _sources(region, row))
        lines.append(f"| {number} | {sources} | {region.states[row[3]]} | {held} | {free} |")
    return "\n".join(lines) + "\n"


def arrows(region: Region) -> dict[tuple[int, int], list[int]]:
    """Return the numbers of the rows by what they lead from and to."""
    found: dict[tuple[int, int], list[int]] = {}
    for number, row in enumerate(region.rows, 1):
        for source in _sources(region, row):
            found.setdefault((source, row[3]), []).append(number)
    return found


def everywhere(region: Region) -> dict[int, list[int]]:
    """Return the states that all others, or all but one, lead to, with their rows' numbers."""
    into: dict[int, list[int]] = {}
    for number, row in enumerate(region.rows, 1):
        into.setdefault(row[3], []).append(number)
    return {
        state: numbers
        for state, numbers in into.items()
        if len(_all_sources(region, numbers)) >= len(region.states) - 2
        and state != 0  # rest, to which all come back, has its arrows drawn
    }


def _all_sources(region: Region, numbers: Sequence[int]) -> set[int]:
    return {source for n in numbers for source in _sources(region, region.rows[n - 1])}


def drawing(region: Region) -> str:
    """Return the region as SVG: a box a state, an arrow with the numbers of its rows.

    What nearly every state leads to has one short arrow, or nobody could follow the others.
    """
    at = [(20 + BOX_W / 2 + 300 * x, 20 + BOX_H / 2 + 112 * y) for x, y in region.places]
    wide = max(x for x, _ in at) + BOX_W / 2 + 20
    high = max(y for _, y in at) + BOX_H / 2 + 70
    told = ", ".join(region.states)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {high:.0f}" '
        f'width="{wide:.0f}" font-family="sans-serif" font-size="13" role="img">',
        f"<title>States of the {region.name}: {escape(told)}</title>",
        '<defs><marker id="tip" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" '
        'markerHeight="7" orient="auto"><path d="M0 0 L8 4 L0 8 z" fill="#456"/></marker></defs>',
        '<rect width="100%" height="100%" fill="#fff"/>',
    ]
    from_all = everywhere(region)
    lines = [pair for pair in arrows(region) if pair[1] not in from_all]
    for a, b in lines:
        bend = BEND if (b, a) in lines else 0.0
        parts.append(_arrow(at[a], at[b], arrows(region)[a, b], bend))
    parts += [_from_all(region, state, numbers, at[state]) for state, numbers in from_all.items()]
    for state, (x, y) in zip(region.states, at, strict=True):
        parts.append(
            f'<rect x="{x - BOX_W / 2:.1f}" y="{y - BOX_H / 2:.1f}" width="{BOX_W:.0f}" '
            f'height="{BOX_H:.0f}" rx="8" fill="#eef4f8" stroke="#456"/>'
            f'<text x="{x:.1f}" y="{y + 4.5:.1f}" text-anchor="middle">{escape(state)}</text>'
        )
    return "\n".join([*parts, "</svg>", ""])


def _from_all(region: Region, state: int, numbers: Sequence[int], at: tuple[float, float]) -> str:
    sources = _all_sources(region, numbers)
    not_from = [s for s in range(len(region.states)) if s not in sources and s != state]
    lines = ["each other state:", _spans(sorted(numbers))]
    if not_from:
        lines[:1] = ["each other state but", f"{region.states[not_from[0]]}:"]
    x, y = at[0], at[1] + BOX_H / 2
    texts = "".join(
        f'<text x="{x:.1f}" y="{y + 36 + 14 * n:.1f}" text-anchor="middle" font-size="11.5" '
        f'fill="#234">{line}</text>'
        for n, line in enumerate(lines)
    )
    return (
        f'<path d="M{x:.1f} {y + 24:.1f} V{y + GAP * 0.4:.1f}" stroke="#456" '
        f'marker-end="url(#tip)"/>{texts}'
    )


def _arrow(
    a: tuple[float, float], b: tuple[float, float], numbers: Sequence[int], bend: float
) -> str:
    long = math.dist(a, b)
    shift = (bend * (a[1] - b[1]) / long, bend * (b[0] - a[0]) / long)
    begin, end = _edge(a, b, shift), _edge(b, a, shift)
    middle = tuple(p + LABEL_AT * (q - p) for p, q in zip(begin, end, strict=True))
    label = _spans(numbers)
    half = 3.4 * len(label) + 3
    return (
        f'<path d="M{begin[0]:.1f} {begin[1]:.1f} L{end[0]:.1f} {end[1]:.1f}" fill="none" '
        'stroke="#456" marker-end="url(#tip)"/>'
        f'<rect x="{middle[0] - half:.1f}" y="{middle[1] - 8:.1f}" width="{2 * half:.1f}" '
        'height="16" fill="#fff"/>'
        f'<text x="{middle[0]:.1f}" y="{middle[1] + 4:.1f}" text-anchor="middle" '
        f'font-size="11.5" fill="#234">{label}</text>'
    )


def _edge(
    box: tuple[float, float], other: tuple[float, float], shift: tuple[float, float]
) -> tuple[float, float]:
    """Return where the line between two boxes' centres, shifted aside, leaves the first."""
    long = math.dist(box, other)
    way = ((other[0] - box[0]) / long, (other[1] - box[1]) / long)
    out = [
        (math.copysign(half, way[n]) - shift[n]) / way[n]
        for n, half in enumerate((BOX_W / 2, BOX_H / 2))
        if way[n]
    ]
    far = max(0.0, min(out)) + GAP * 0.4
    return box[0] + shift[0] + far * way[0], box[1] + shift[1] + far * way[1]


def _spans(numbers: Sequence[int]) -> str:
    """Return numbers as text, three and more in a row as first-last: 1, 4-6."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    )


if __name__ == "__main__":
    for part in (STORE, ROOM):
        name = f"statechart-{part.name.split()[0]}.svg"
        Path(sys.argv[1], name).write_text(drawing(part), "utf-8")
