"""The site file to start from: the demo, with every key that it leaves out named in a comment."""

from importlib import resources

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


def _left_out(name: str, used: set[str]) -> list[str]:
    model = MODELS[name]
    return [_comment(name, model, key) for key in model.model_fields if key not in used]


def starter_text(site_name: str) -> str:
    """Return the text of a site file that is valid as it stands."""
    demo = (resources.files("springhouse_host") / "sites" / "demo.toml").read_text("utf-8")
    tables = demo[demo.index("[site]") :].split("\n\n")
    blocks = [HEADER.rstrip()]
    for block in tables:
        lines = block.rstrip().splitlines()
        name = lines[0][1 : lines[0].index("]")]
        used = {line.split("=")[0].strip() for line in lines[1:]}
        lines += _left_out(name, used)
        blocks.append("\n".join(lines))
    named = {block.partition("]")[0].removeprefix("[") for block in tables}
    for name in MODELS:
        if name not in named:
            blocks.append("\n".join([f"[{name}]", *_left_out(name, set())]))
    text = "\n\n".join(blocks) + "\n"
    quoted = site_name.replace("\\", "\\\\").replace('"', '\\"')
    return text.replace('name = "recording room"', f'name = "{quoted}"', 1)
