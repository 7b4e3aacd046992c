"""The site file to start from: the demo, with every key that it leaves out named in a comment."""

from collections.abc import Mapping
from importlib import resources
from typing import Any

from .site.fields import Gradeable
from .site.owner_settings import SLOTS, default
from .site.read import MODELS, kind_of
from .site.tables import Table

HEADER = """# The site file of one installation. It begins as the demo: change what differs.
#
# A value is a number in the unit at the end of its key, or text with a unit: "32 US gal", "26 ft",
# "75 °F"; on a key that ends in _k the same "°F" is a difference. Keys after a # are left out: they
# take the default shown, or are worked out from the labels. A value that you measured replaces
# what is worked out: { value = 0.8, grade = "measured" }.
#
# Next: springhouse size THIS-FILE
"""

WORKED_OUT = {
    "settings.full_lead_min",
    "settings.ice_run_min",
    "settings.flow_least_l_min",
    "settings.flow_most_l_min",
    "settings.chills_k",
    "settings.battery_cut_v",
}


def _comment(name: str, model: type[Table], key: str) -> str:
    kind = kind_of(model, key)
    if isinstance(kind, Gradeable) or f"{name}.{key}" in WORKED_OUT:
        return f"# {key} = ...  # worked out; {kind.allowed}"
    if name == "settings" and key in SLOTS:
        return f"# {key} = {default(key):g}  # {kind.allowed}"
    value = model.model_fields[key].get_default()
    if value is None or isinstance(value, tuple):
        return f"# {key} = ...  # {kind.allowed}"
    text = {True: "true", False: "false"}.get(value) if isinstance(value, bool) else None
    if text is None:
        text = f'"{value}"' if isinstance(value, str) else f"{value:g}"
    return f"# {key} = {text}  # {kind.allowed}"


def _toml(value: Any) -> str:
    import tomlkit

    if isinstance(value, dict):
        table = tomlkit.inline_table()
        table.update(value)
        return str(table.as_string())
    return str(tomlkit.item(value).as_string())


def _line(name: str, line: str, values: Mapping[str, Any]) -> str | None:
    """Return a line of the demo with its new value; None where the key is left out."""
    key = line.split("=")[0].strip()
    where = f"{name}.{key}"
    if where not in values:
        return line
    return None if values[where] is None else f"{key} = {_toml(values[where])}"


def _rest(name: str, used: set[str], values: Mapping[str, Any]) -> list[str]:
    model = MODELS[name]
    lines = []
    for key in model.model_fields:
        value = values.get(f"{name}.{key}")
        if key not in used:
            lines.append(_comment(name, model, key) if value is None else f"{key} = {_toml(value)}")
    return lines


def starter_text(values: Mapping[str, Any]) -> str:
    """Return the text of a site file: the demo with other values by "table.key"; None: left out."""
    demo = (resources.files("springhouse_host") / "sites" / "demo.toml").read_text("utf-8")
    tables = demo[demo.index("[site]") :].split("\n\n")
    blocks = [HEADER.rstrip()]
    for block in tables:
        head, *rest = block.rstrip().splitlines()
        name = head[1 : head.index("]")]
        lines = [line for old in rest if (line := _line(name, old, values)) is not None]
        used = {line.split("=")[0].strip() for line in lines}
        blocks.append("\n".join([head, *lines, *_rest(name, used, values)]))
    named = {block.partition("]")[0].removeprefix("[") for block in tables}
    for name in MODELS:
        if name not in named:
            blocks.append("\n".join([f"[{name}]", *_rest(name, set(), values)]))
    return "\n\n".join(blocks) + "\n"
