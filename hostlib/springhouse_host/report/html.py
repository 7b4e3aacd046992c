"""The page: template, style, script, charts and data in one file that asks no network."""

from importlib import resources
from typing import TYPE_CHECKING, Any

from springhouse import words

from .series import CHARTS, COLOURS, COLUMNS, HATCHES, STRIP_TITLE, STRIPS
from .view import View

if TYPE_CHECKING:
    from markupsafe import Markup

NO_SUPPLY = "board without supply"
# Nothing may be fetched, whatever the page holds; inline style and script are its own.
POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:"


def render(view: View) -> str:
    """Return the page as HTML."""
    from ..units import US_WORDS
    from . import charts

    built = charts.build(view.about.bounds, view.about.us)
    unit = US_WORDS if view.about.us else {}
    marks = {c.key: charts.legend(c, "promised bound") for c in CHARTS}
    return page(
        "report",
        us=view.about.us,
        view=view,
        charts=[(chart.key, chart.title, marks[chart.key]) for chart in CHARTS],
        strip_title=STRIP_TITLE,
        strips=STRIPS,
        hatches=HATCHES,
        layers=range(6),
        data={
            "bokeh": documents(built.plots),
            "skin": built.skin,
            "first": view.first,
            "storeWords": words.STORE_STATES,
            "roomWords": words.ROOM_STATES,
            "noSupply": NO_SUPPLY,
            "currency": view.about.currency,
            "columns": {
                name: {"words": s.words, "unit": unit.get(s.unit, s.unit)}
                for name, s in COLUMNS.items()
            },
            "charts": {c.key: [s.column for s in c.series] for c in CHARTS},
            "strips": [{"key": s.key, "words": s.words} for s in STRIPS],
        },
    )


def page(name: str, us: bool = False, **values: Any) -> str:
    """Return the page of a template, with style, own script and the charting library in it.

    ``us`` retells every sentence of the page in US customary units that is not in them already.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    from ..units import retold

    def last(value: Any) -> Any:
        plain = isinstance(value, str) and not isinstance(value, Markup)
        return retold(value, us) if plain else value

    environment = Environment(
        loader=PackageLoader("springhouse_host.report", "page"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=last,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # bokeh reads its document in the order it was written
    environment.policies["json.dumps_kwargs"] = {"sort_keys": False}
    environment.filters["spaced"] = lambda number: f"{number:,}"
    return environment.get_template(f"{name}.html.jinja").render(
        policy=POLICY,
        style=_own("palette.css") + _own("report.css"),
        script=_own(f"{name}.js"),
        library=_bokeh(),
        colours=COLOURS,
        **values,
    )


def _own(name: str) -> "Markup":
    """Return one of our files, to stand in the page as it is."""
    from markupsafe import Markup

    return Markup(resources.files("springhouse_host.report").joinpath("page", name).read_text())


def _bokeh() -> "Markup":
    """Return the charting library's script."""
    from bokeh.resources import INLINE
    from markupsafe import Markup

    return Markup(INLINE.js_raw[0])


def documents(plots: dict[str, Any]) -> dict[str, Any]:
    """Return bokeh's document and which plot goes into which element."""
    from bokeh.document import Document

    document = Document()
    for plot in plots.values():
        document.add_root(plot)
    roots = {plot.id: f"plot-{key}" for key, plot in plots.items()}
    return {
        "documents": {"report": document.to_json(deferred=False)},
        "items": [{"docid": "report", "roots": roots, "root_ids": list(roots)}],
    }
