"""What the charts show: one table for lines, legends, data tables and the packed columns."""

from dataclasses import dataclass
from typing import Literal

Colour = Literal["ink", "grey", "green", "purple", "orange", "blue"]
Dash = Literal["solid", "dashed", "dotted", "dotdash"]

# For light and dark pages. Hues of Okabe and Ito (2008, from memory), distinct for all common kinds
# of colour vision; darkened or lightened until they stand out from the page at 3:1 or more.
COLOURS: dict[Colour, tuple[str, str]] = {
    "ink": ("#1b1b1b", "#ececec"),
    "grey": ("#6f6f6f", "#9a9a9a"),
    "green": ("#00795a", "#1fbf93"),
    "purple": ("#a8487f", "#d992b8"),
    "orange": ("#b85000", "#e69f00"),
    "blue": ("#0072b2", "#56b4e9"),
}
DASHES: dict[Dash, tuple[int, ...]] = {
    "solid": (),
    "dashed": (7, 4),
    "dotted": (2, 3),
    "dotdash": (8, 3, 2, 3),
}


@dataclass(frozen=True)
class Series:
    """One line: its column, words, unit as a key of `units.UNITS`, rounding, colour and dash."""

    column: str
    words: str
    unit: str
    step: float
    colour: Colour
    dash: Dash = "solid"
    width: float = 2.0


@dataclass(frozen=True)
class Chart:
    """One chart over time; ``marks`` are the rows of `STRIPS` that shade it."""

    key: str
    title: str
    series: tuple[Series, ...]
    marks: tuple[str, ...] = ()
    bound: bool = False  # has a promised bound to be drawn
    from_zero: bool = False


@dataclass(frozen=True)
class Strip:
    """One row of the strips: what is on from when to when."""

    key: str
    words: str
    colour: Colour
    hatch: str = ""  # a pattern of bokeh beside the colour


TOP = 5  # uppermost of the store's layers, 0 at the bottom

_LAYERS = (
    Series("water_0_c", "bottom layer", "°C", 0.02, "ink", width=2.5),
    *(
        Series(f"water_{i}_c", f"layer {i + 1} of 6", "°C", 0.02, "grey", width=1.0)
        for i in range(1, TOP)
    ),
    Series(f"water_{TOP}_c", "top layer", "°C", 0.02, "orange", "dashed"),
)

CHARTS = (
    Chart(
        "room",
        "Room and outdoors",
        (
            Series("room_air_c", "room", "°C", 0.02, "ink", width=2.5),
            Series("outdoor_c", "outdoors", "°C", 0.05, "green", "dashed", 1.5),
            Series("bare_room_c", "room without the store", "°C", 0.02, "purple", "dotted"),
        ),
        ("wanted", "away", "fault"),
        bound=True,
    ),
    Chart("store", "Water in the store, by layer", _LAYERS, ("away", "fault")),
    Chart(
        "ice",
        "Ice in the store",
        (Series("ice_kg", "ice", "kg", 0.001, "blue", width=2.5),),
        ("away", "fault"),
        bound=True,
        from_zero=True,
    ),
    Chart(
        "coil",
        "At the coil, while the fan runs",
        (
            Series("air_off_c", "air off the coil", "°C", 0.05, "ink", width=2.5),
            Series("coil_in_c", "water into the coil", "°C", 0.05, "blue", "dashed", 1.5),
        ),
        ("away", "fault"),
    ),
    Chart(
        "heat",
        "Cold delivered to the room",
        (
            Series("coil_w", "by the coil, all", "W", 1.0, "ink", width=2.5),
            Series("coil_latent_w", "of that, drying the air", "W", 1.0, "blue", "dashed", 1.5),
        ),
        ("wanted", "away", "fault"),
        from_zero=True,
    ),
    Chart(
        "power",
        "Power from the mains",
        (Series("mains_w", "drawn from the socket", "W", 1.0, "ink"),),
        ("cheap", "away", "fault"),
        from_zero=True,
    ),
)

STRIPS = (
    Strip("compressor", "compressor relay", "ink"),
    Strip("pump", "pump", "blue"),
    Strip("fan", "fan", "green"),
    Strip("fan_full", "fan, full speed", "green", "vertical_line"),
    Strip("alarm", "alarm", "orange"),
    Strip("wanted", "cooling wanted", "purple", "left_diagonal_line"),
    Strip("cheap", "cheap electricity", "grey", "horizontal_line"),
    Strip("away", "mains away", "orange", "criss_cross"),
    Strip("fault", "something broken", "ink", "dot"),
)

# The hatches as paths of SVG in a tile of 6 x 6, for legends.
HATCHES = {
    "vertical_line": "M3 0V6",
    "left_diagonal_line": "M0 0L6 6",
    "horizontal_line": "M0 3H6",
    "criss_cross": "M0 0L6 6M6 0L0 6",
    "dot": "M2 3H4",
}

COLUMNS = {series.column: series for chart in CHARTS for series in chart.series}
STRIP_TITLE = "What runs, when power is cheap, what is broken"
