"""The charts: bokeh models without data, one time range for all; the page puts a run's data in."""

from dataclasses import dataclass, field
from typing import Any

from bokeh.models import (
    BoxZoomTool,
    ColumnDataSource,
    DataRange1d,
    DatetimeTicker,
    DatetimeTickFormatter,
    FixedTicker,
    HBar,
    Line,
    PanTool,
    Plot,
    Range1d,
    VStrip,
)
from bokeh.models.annotations import Span
from bokeh.plotting import figure

from ..units import word
from .series import CHARTS, COLOURS, COLUMNS, DASHES, STRIPS, Chart, Colour, Dash, Series, Strip

HEIGHT_PX = 220
STRIP_PX = 26  # a row
AXES_PX = 50
STRIP_ALPHA = 0.16


@dataclass
class Skin:
    """Which property of which model has which colour on a light and on a dark page."""

    rows: list[tuple[str, str, str, str]] = field(default_factory=list)

    def paint(self, model: Any, prop: str, colour: Colour) -> None:
        """Colour a property for the light page and remember it for the dark one."""
        light, dark = COLOURS[colour]
        setattr(model, prop, light)
        self.rows.append((model.id, prop, light, dark))


@dataclass(frozen=True)
class Charts:
    """Plots by the key of their chart, and what the page needs to fill and colour them."""

    plots: dict[str, Plot]
    skin: list[tuple[str, str, str, str]]


def build(bounds: dict[str, float], us: bool) -> Charts:
    """Return the charts; ``bounds`` are promised values by chart, in the unit of the screen.

    Named models: source ``samples`` with ``at`` and the columns of `series.COLUMNS`; a source
    ``strip KEY`` (``left``, ``right``) for each strip; range ``times``; span ``moment KEY``.
    """
    skin = Skin()
    times = Range1d(name="times", start=0, end=1)
    # Two points to begin with: bokeh warns of a range that nothing spans.
    samples = ColumnDataSource({name: [0.0, 1.0] for name in ("at", *COLUMNS)})
    samples.name = "samples"
    spans = {s.key: ColumnDataSource({"left": [], "right": []}) for s in STRIPS}
    for key, source in spans.items():
        source.name = f"strip {key}"
    plots: dict[str, Plot] = {}
    for chart in CHARTS:
        plot = _frame(chart.key, times, HEIGHT_PX, skin)
        plot.yaxis.axis_label = _unit(chart.series[0], us)
        if chart.from_zero:
            most = 1.25 * bounds.get(chart.key, 0.0)
            plot.y_range = DataRange1d(start=0.0, min_interval=most or None)
        for strip in STRIPS:
            if strip.key in chart.marks:
                _shade(plot, strip, spans[strip.key], skin)
        if chart.bound and chart.key in bounds:
            _bound(plot, bounds[chart.key], skin)
        for series in chart.series:
            _line(plot, series, samples, skin)
        plots[chart.key] = plot
    plots["strips"] = _strips(times, spans, skin)
    return Charts(plots, skin.rows)


def _unit(series: Series, us: bool) -> str:
    return word(series.unit, us)


def _frame(key: str, times: Range1d, height_px: int, skin: Skin) -> Any:
    plot = figure(
        name=key,
        height=height_px,
        sizing_mode="stretch_width",
        x_axis_type="datetime",
        x_range=times,
        tools=[PanTool(dimensions="width"), BoxZoomTool(dimensions="width")],
        active_drag=None,  # the page lets a mouse zoom; a finger scrolls the page
        toolbar_location=None,
        background_fill_alpha=0,
        border_fill_alpha=0,
        min_border_left=72,
        min_border_right=12,
    )
    plot.xaxis.formatter = _time_format()
    plot.xaxis[0].ticker = DatetimeTicker(desired_num_ticks=5)
    dress(plot, skin)
    moment = Span(name=f"moment {key}", dimension="height", location=None, line_width=1.5)
    skin.paint(moment, "line_color", "ink")
    plot.add_layout(moment)
    return plot


def dress(plot: Any, skin: Skin) -> None:
    """Give axes, grid and outline the page's look."""
    for axis in (plot.xaxis[0], plot.yaxis[0]):
        axis.axis_label_text_font_style = "normal"
        axis.major_label_text_font_size = axis.axis_label_text_font_size = "13px"
        axis.minor_tick_line_color = None
        skin.paint(axis, "axis_label_text_color", "ink")
        skin.paint(axis, "major_label_text_color", "ink")
        for prop in ("axis_line_color", "major_tick_line_color"):
            skin.paint(axis, prop, "grey")
    for grid in plot.grid:
        grid.grid_line_alpha = 0.3
        skin.paint(grid, "grid_line_color", "grey")
    skin.paint(plot, "outline_line_color", "grey")


def _time_format() -> DatetimeTickFormatter:
    return DatetimeTickFormatter(
        minutes="%H:%M", hourmin="%H:%M", hours="%H:%M", days="%a %d %b", months="%d %b"
    )


def _shade(plot: Any, strip: Strip, source: ColumnDataSource, skin: Skin) -> None:
    glyph = VStrip(x0="left", x1="right", line_color=None, fill_alpha=STRIP_ALPHA)
    skin.paint(glyph, "fill_color", strip.colour)
    _hatch(glyph, strip, skin, alpha=0.35)
    plot.add_glyph(source, glyph)


def _hatch(glyph: Any, strip: Strip, skin: Skin, alpha: float) -> None:
    if strip.hatch:
        glyph.hatch_pattern = strip.hatch
        glyph.hatch_alpha = alpha
        glyph.hatch_scale = 9.0
        skin.paint(glyph, "hatch_color", strip.colour)


def _bound(plot: Any, value: float, skin: Skin) -> None:
    bound = Span(dimension="width", location=value, line_dash=list(DASHES["dotdash"]), line_width=2)
    skin.paint(bound, "line_color", "orange")
    plot.add_layout(bound)


def _line(plot: Any, series: Series, samples: ColumnDataSource, skin: Skin) -> None:
    glyph = Line(
        x="at", y=series.column, line_width=series.width, line_dash=list(DASHES[series.dash])
    )
    skin.paint(glyph, "line_color", series.colour)
    plot.add_glyph(samples, glyph)


def _strips(times: Range1d, spans: dict[str, ColumnDataSource], skin: Skin) -> Any:
    plot = _frame("strips", times, STRIP_PX * len(STRIPS) + AXES_PX, skin)
    plot.y_range = Range1d(start=-len(STRIPS) + 0.4, end=0.6)
    plot.min_border_left = 130
    plot.yaxis.ticker = FixedTicker(ticks=[-i for i in range(len(STRIPS))])
    plot.yaxis.major_label_overrides = {-i: strip.words for i, strip in enumerate(STRIPS)}
    plot.ygrid.grid_line_color = None
    for i, strip in enumerate(STRIPS):
        glyph = HBar(y=-i, left="left", right="right", height=0.7, fill_alpha=1.0, line_width=1)
        if strip.hatch:
            glyph.fill_alpha = STRIP_ALPHA
        skin.paint(glyph, "fill_color", strip.colour)
        skin.paint(glyph, "line_color", strip.colour)
        _hatch(glyph, strip, skin, alpha=1.0)
        plot.add_glyph(spans[strip.key], glyph)
    return plot


def legend(chart: Chart, bound: str) -> list[dict[str, str]]:
    """Return the rows of a chart's legend: words, colour, dash of SVG; the bound where it has one.

    The layers between bottom and top of the store are one row.
    """
    rows: list[dict[str, str]] = []
    for series in chart.series:
        if series.colour == "grey" and any(row["colour"] == "grey" for row in rows):
            continue
        words = "layers between" if series.column == "water_1_c" else series.words
        row = _legend_row(words, series.colour, series.dash, series.width)
        rows.append(row | {"column": series.column})
    if chart.bound and bound:
        rows.append(_legend_row(bound, "orange", "dotdash", 2.0))
    for strip in STRIPS:
        if strip.key in chart.marks:
            rows.append({"words": strip.words, "colour": strip.colour, "strip": strip.key})
    return rows


def _legend_row(words: str, colour: str, dash: Dash, width: float) -> dict[str, str]:
    pattern = " ".join(str(n) for n in DASHES[dash])
    return {"words": words, "colour": colour, "dash": pattern, "width": f"{width:g}"}
