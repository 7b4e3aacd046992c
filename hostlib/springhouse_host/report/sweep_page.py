"""The page of a sweep: its map, what it says in words, and every point as a row."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..screen import write_whole
from ..site.site import Site

Row = dict[str, Any]
DISC_PX = (5.0, 26.0)  # of the least and of the greatest value
HEIGHT_PX = 380
ICE = "most ice kg"


@dataclass(frozen=True)
class Figure:
    """What is drawn over the varied values: column, words and unit."""

    column: str
    words: str
    unit: str


@dataclass(frozen=True)
class Drawn:
    """A figure as the page shows it."""

    key: str
    title: str
    told: str


def figures(currency: str) -> tuple[Figure, ...]:
    """Return what a sweep's map shows."""
    return (
        Figure("room_hours_over", "wanted hours too warm", "h"),
        Figure("cost", "cost of electricity", currency),
    )


def write(
    site: Site, rows: Sequence[Row], keys: Sequence[str], title: str, path: Path, ice: str = ICE
) -> None:
    """Write the page; points that the site's rules refused are counted, not drawn.

    Raises:
        KnownError: when the file cannot be written.
    """
    write_whole(path, render(site, rows, keys, title, ice))


def render(site: Site, rows: Sequence[Row], keys: Sequence[str], title: str, ice: str = ICE) -> str:
    """Return the page as HTML; ``ice`` heads the column max_ice_kg, whatever its unit."""
    from . import html
    from .charts import Skin

    good = [row for row in rows if not row["refused"]]
    shown = figures(site.currency)
    skin = Skin()
    plots = {f.column: _plot(good, keys, f, skin) for f in shown} if good else {}
    return html.page(
        "sweep",
        site_name=site.name,
        title=title.removeprefix(f"{site.name}: "),
        keys=keys,
        figures=[Drawn(f.column, f.words, told(good, keys, f)) for f in shown if good],
        columns=[(f.column, f"{f.words} {f.unit}".strip()) for f in shown] + [("max_ice_kg", ice)],
        points=sorted(good, key=lambda row: (row["room_hours_over"], row["cost"])),
        refused=[row["refused"] for row in rows if row["refused"]],
        hidden=keys[2:],
        hashes=(("site", site.site_sha256), ("settings", site.settings_sha256)),
        data={"bokeh": html.documents(plots) if plots else None, "skin": skin.rows},
    )


def told(rows: Sequence[Row], keys: Sequence[str], figure: Figure) -> str:
    """Return in words what a map shows: its least and greatest value and where they are."""
    least, most = (pick(rows, key=lambda row: row[figure.column]) for pick in (min, max))
    low, high = least[figure.column], most[figure.column]
    if high - low < 1e-9:
        return f"{low:.4g} {figure.unit} at every point."
    ends = [
        f"{row[figure.column]:.4g} {figure.unit} at {_where(row, rows, keys, figure.column)}"
        for row in (least, most)
    ]
    text = f"From {ends[0]} to {ends[1]}."
    return f"{text} The larger the disc, the more." if len(keys) > 1 else text


def _where(row: Row, rows: Sequence[Row], keys: Sequence[str], column: str) -> str:
    """Return a point in words, and how many others do as well."""
    point = ", ".join(f"{key.partition('.')[2]} {row[key]:.4g}" for key in keys)
    others = sum(abs(other[column] - row[column]) < 1e-9 for other in rows) - 1
    return f"{point} (and {others} other{'s' if others > 1 else ''})" if others else point


def discs_px(values: Sequence[float]) -> list[float]:
    """Return a diameter [px] for each value, in proportion between least and greatest."""
    low, high = min(values), max(values)
    span = high - low or 1.0
    return [DISC_PX[0] + (v - low) / span * (DISC_PX[1] - DISC_PX[0]) for v in values]


def _plot(rows: Sequence[Row], keys: Sequence[str], shown: Figure, skin: Any) -> Any:
    """Return a line over one varied value, or discs over the first two."""
    from bokeh.models import ColumnDataSource, DataRange1d, Line, Scatter
    from bokeh.plotting import figure

    from .charts import dress

    rows = sorted(rows, key=lambda row: row[keys[0]])
    values = [float(row[shown.column]) for row in rows]
    flat = len(keys) == 1
    source = ColumnDataSource(
        {
            "x": [float(row[keys[0]]) for row in rows],
            "y": values if flat else [float(row[keys[1]]) for row in rows],
            "size": [9.0] * len(rows) if flat else discs_px(values),
        }
    )
    plot = figure(
        name=shown.column,
        height=HEIGHT_PX,
        sizing_mode="stretch_width",
        tools="",
        toolbar_location=None,
        background_fill_alpha=0,
        border_fill_alpha=0,
        x_axis_label=keys[0],
        y_axis_label=f"{shown.words} {shown.unit}".strip() if flat else keys[1],
        x_range=DataRange1d(range_padding=0.12),
        y_range=DataRange1d(range_padding=0.12),
    )
    dress(plot, skin)
    if flat:
        line = Line(x="x", y="y", line_width=2)
        skin.paint(line, "line_color", "blue")
        plot.add_glyph(source, line)
    disc = Scatter(x="x", y="y", size="size", marker="circle", fill_alpha=0.45, line_width=1.5)
    skin.paint(disc, "fill_color", "blue")
    skin.paint(disc, "line_color", "blue")
    plot.add_glyph(source, disc)
    return plot
