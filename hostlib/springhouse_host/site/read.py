"""From TOML text to validated tables, with every fault of the file found in one go.

Each table is validated by itself, and a rule across tables is asked as soon as the values it needs
are good, so that one mistake hides no other.
"""

import difflib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, cast

from pydantic import ValidationError
from springhouse_sim import outside

from ..errors import SiteError
from .fields import _Kind
from .owner_range import OwnerRangeTable
from .owner_settings import SettingsTable
from .tables import (
    BatteryTable,
    CoilTable,
    CommissionedTable,
    FreezerTable,
    LoopTable,
    PlaceTable,
    PromisesTable,
    ProtectionTable,
    RoomTable,
    ScheduleTable,
    SensorsTable,
    SiteTable,
    StoreTable,
    Table,
    TariffTable,
    TrayTable,
    WeatherTable,
    WorthTable,
)

LARGEST_BYTES = 300_000
SHOWN = 60  # longest value repeated in a line
LONGEST_KEY = 120
MOST_LINES = 40  # of refusals, then only their number


@dataclass(frozen=True)
class SiteFile:
    """The tables of one file, in the order in which faults are listed."""

    site: SiteTable
    place: PlaceTable
    freezer: FreezerTable
    store: StoreTable
    loop: LoopTable
    coil: CoilTable
    room: RoomTable
    tray: TrayTable
    battery: BatteryTable
    sensors: SensorsTable
    protection: ProtectionTable
    commissioned: CommissionedTable
    tariff: TariffTable
    weather: WeatherTable
    schedule: ScheduleTable
    settings: Table
    owner_range: OwnerRangeTable
    promises: PromisesTable
    worth: WorthTable


MODELS: dict[str, type[Table]] = {
    field.name: SettingsTable if field.name == "settings" else cast(type[Table], field.type)
    for field in fields(SiteFile)
}

# Values that are good, by table and key: what rules across tables are asked about.
Values = dict[str, dict[str, Any]]


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a file."""

    where: str  # table.key
    value: str  # as it stands in the file, or a word about it
    allowed: str

    def line(self, file: str) -> str:
        """Return the whole line."""
        where = self.where if len(self.where) <= LONGEST_KEY else f"{self.where[:LONGEST_KEY]}..."
        return f"{file}: {where}: {self.value}: {self.allowed}"


def refusals(faults: Sequence[Fault], file: str) -> list[str]:
    """Return a line a fault, of very many the first MOST_LINES and how many more there are."""
    lines = [fault.line(file) for fault in faults[:MOST_LINES]]
    more = len(faults) - len(lines)
    return [*lines, f"{file}: and {more} more"] if more else lines


def shown(value: Any) -> str:
    """Return a value much as it stands in the file, shortened, on one line."""
    if isinstance(value, float | int) and not isinstance(value, bool):
        try:
            text = f"{value:.10g}" if isinstance(value, float) else str(value)
        except ValueError:  # an integer of thousands of digits
            text = "a huge number"
    else:
        text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= SHOWN else text[: SHOWN - 3] + "..."


def nearest(word: str, choices: list[str]) -> str | None:
    """Return the choice a misspelt word most likely meant."""
    if len(word) > SHOWN:
        return None
    found = difflib.get_close_matches(word.lower(), choices, n=1, cutoff=0.6)
    return found[0] if found else None


def load_toml(path: Path) -> dict[str, Any]:
    """Return the parsed file.

    Raises:
        SiteError: when it cannot be read or is no TOML.
    """
    try:
        return outside.from_toml(outside.read_text(path, LARGEST_BYTES), path)
    except outside.OutsideError as error:
        raise SiteError(str(error)) from None


def kind_of(model: type[Table], key: str) -> _Kind:
    """Return the marker that reads a key."""
    kind = model.model_fields[key].metadata[0]
    assert isinstance(kind, _Kind)
    return kind


def _meant(raw: Mapping[str, Any], known: list[str]) -> dict[str, str | None]:
    """Return what each unknown key most likely meant, looked for no oftener than it is said."""
    unknown = [key for key in raw if key not in known]
    hints = {key: nearest(key, known) for key in unknown[:MOST_LINES]}
    return {key: hints.get(key) for key in unknown}


def _needed(model: type[Table]) -> str:
    return ", ".join(key for key, field in model.model_fields.items() if field.is_required())


def read_table(name: str, raw: Any, faults: list[Fault]) -> tuple[Table | None, dict[str, Any]]:
    """Validate one table; return it (None if faulty) and the values in it that are good."""
    model = MODELS[name]
    if not isinstance(raw, dict):
        faults.append(Fault(name, shown(raw), f"a table [{name}]"))
        return None, {}
    try:
        table = model.model_validate(raw)
    except ValidationError as error:
        bad = {str(e["loc"][0]): e for e in error.errors() if e["loc"]}
    else:
        return table, {key: getattr(table, key) for key in model.model_fields}
    known = list(model.model_fields)
    meant = _meant(raw, known)
    for key, e in bad.items():
        where = f"{name}.{key}"
        if e["type"] == "extra_forbidden":
            hint = meant[key]
            allowed = f"the nearest valid key is {hint}" if hint else f"keys: {', '.join(known)}"
            faults.append(Fault(where, shown(raw[key]), f"no such key; {allowed}"))
        elif e["type"] == "missing":
            if key not in meant.values():
                faults.append(Fault(where, "missing", kind_of(model, key).allowed))
        else:
            faults.append(Fault(where, shown(raw[key]), e["msg"]))
    good = {
        key: kind_of(model, key).parse(raw[key]) if key in raw else field.get_default()
        for key, field in model.model_fields.items()
        if key not in bad
    }
    return None, good


def read_tables(raw: Mapping[str, Any], faults: list[Fault]) -> tuple[dict[str, Table], Values]:
    """Validate all tables; return the good ones and every good value."""
    tables: dict[str, Table] = {}
    values: Values = {}
    meant = _meant(raw, list(MODELS))
    for key, hint in meant.items():
        allowed = f"the nearest valid table is [{hint}]" if hint else f"tables: {', '.join(MODELS)}"
        value = "a table" if isinstance(raw[key], dict) else shown(raw[key])
        faults.append(Fault(key, value, f"no such table; {allowed}"))
    # What stands in a misspelt table is checked all the same.
    raw = {hint: raw[key] for key, hint in meant.items() if hint} | dict(raw)
    for name, model in MODELS.items():
        if name in raw:
            table, values[name] = read_table(name, raw[name], faults)
        elif any(field.is_required() for field in model.model_fields.values()):
            table = None
            faults.append(Fault(f"[{name}]", "missing", f"a table with {_needed(model)}"))
        else:
            table, values[name] = read_table(name, {}, faults)
        if table is not None:
            tables[name] = table
    return tables, values
