"""The one rule by which a proof is kept: over its record, for who writes it and for who reads it.

`prove` asks it about what it found, `flash` about what a file says. It looks at nothing but the
record, and recomputes each judgement in it from the numbers beside it.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from . import invariants

Record: TypeAlias = Mapping[str, Any]
SHARE = "plausible installations, share"
LEAST_PERCENT = 50.0


def kept(record: Record) -> bool:
    """Return whether nothing is broken."""
    return not any(True for _ in broken(record))


def broken(record: Record) -> Iterator[str]:
    """Yield what is broken, each in a few words: what was found and what should have been.

    Raises:
        LookupError, TypeError, AttributeError: when the record lacks what a judgement rests on.
    """
    for part in RULES:
        yield from part(record)


def promises(record: Record) -> Iterator[str]:
    """A promise is kept where the worst value is inside its bound, or on it."""
    for p in some(record["promises"]):
        inside = _inside(p, p["worst"])
        if not inside:
            yield f"promise: {p['name']}: {p['worst']:g} {p['unit']}"
        if p["kept"] is not inside:
            yield f"promise: {p['name']}: its numbers say otherwise"


def plausible(record: Record) -> Iterator[str]:
    """Plausible installations keep all safety promises, and enough of them keep every promise."""
    rows, whole = record["promises"], record["plausible"]
    if number(whole["violations"]) != 0:
        yield f"plausible installations: {whole['violations']} violations"
    for values in (*some(whole["draws"]), *(s["values"] for s in whole["summers"])):
        for p, value in zip(rows, values, strict=True):
            if p["safety"] and not _drawn_inside(p, value):
                yield f"plausible installations: {p['name']}: {value:g} {p['unit']}"
    share, wanted = share_percent(record), wanted_percent(record)
    if share < wanted:
        yield f"{SHARE}: {share:.0f} % keep every promise, {wanted:g} % wanted"


def share_percent(record: Record) -> float:
    """Return how many of the plausible installations keep every promise [%]."""
    rows, draws = record["promises"], some(record["plausible"]["draws"])
    kept_by = [all(_drawn_inside(p, v) for p, v in zip(rows, d, strict=True)) for d in draws]
    return 100.0 * sum(kept_by) / len(draws)


def wanted_percent(record: Record) -> float:
    """Return how many should [%].

    Raises:
        LookupError: when no share that an owner may set.
    """
    wanted = number(record["plausible"]["wanted_percent"])
    if not LEAST_PERCENT <= wanted <= 100.0:
        raise LookupError(f"wanted_percent {wanted:g}")
    return wanted


def depends(record: Record) -> bool:
    """Return whether at least half keep every promise and nothing else speaks against it."""
    found = list(broken(record))
    only = bool(found) and all(text.startswith(SHARE) for text in found)
    return only and share_percent(record) >= LEAST_PERCENT


def _drawn_inside(p: Record, value: Any) -> bool:
    """Return whether a draw keeps a promise; None: its week has nothing to say of it."""
    return value is None or _inside(p, value)


def _inside(p: Record, value: Any) -> bool:
    side = 1.0 if p["at_least"] else -1.0
    return side * (number(value) - number(p["limit"])) >= 0.0


def held(record: Record) -> Iterator[str]:
    """Each invariant was tried, and nothing broke it."""
    found = {i["id"]: i for i in some(record["invariants"])}
    for name in map(invariants.identity, invariants.TEXTS):
        if name not in found:
            yield f"{name}: not tried"
        elif not number(found[name]["cases"]) > 0:
            yield f"{name}: no cases"
        elif number(found[name]["violations"]) != 0:
            yield f"{name}: {found[name]['violations']} violations"


def firmware(record: Record) -> Iterator[str]:
    """The checks of the firmware alone were run and found nothing."""
    for part, counted in (
        ("complete_check", ("states", "table_cases", "interlock_cases")),
        ("abstract_machine", ("slices", "states", "steps", "transitions")),
        ("induction", ("queries",)),
        ("random_inputs", ("scans",)),
    ):
        yield from (f"{part}: no {key}" for key in counted if not number(record[part][key]) > 0)
        count = record[part]["violations"]
        if count != 0 and count != []:
            yield f"{part}: violations"


def replay(record: Record) -> Iterator[str]:
    """Compiled and interpreted ticks were compared and are the same."""
    if not number(record["replay"]["ticks"]) > 0:
        yield "replay: no ticks"
    if number(record["replay"]["differing"]) != 0:
        yield f"replay: differs at {record['replay']['differing']} ticks"


def false_alarms(record: Record) -> Iterator[str]:
    """Where nothing breaks nothing latches: a latch waits for a person, for days if need be."""
    if not number(record["false_alarms"]["runs"]) > 0:
        yield "false alarms: no runs"
    for name, latched in record["false_alarms"]["latched"].items():
        yield f"false alarm: {latched}: {name}"


def responses(record: Record) -> Iterator[str]:
    """What must follow a fault came in time and nothing else was wrong.

    Where what should answer is missing, the row claims nothing, names it, and the record says so
    as well; what happened in that run is judged by the promises.
    """
    missing = {gap["key"] for gap in record["not_guarded"]}
    for r in record["responses"]:
        if r["lacks"] and not set(r["lacks"]) <= missing:
            yield f"fault: {r['fault']}: {', '.join(r['lacks'])}: is there and did not answer"
        if r["lacks"] and not r["kept"]:
            continue
        if r["kept"] is not response_kept(r):
            yield f"fault: {r['fault']}: {r['expected']}: its numbers say otherwise"
        if not response_kept(r):
            yield f"fault: {r['fault']}: {r['expected']}: {_why(r)}"


def _why(r: Record) -> str:
    if r["never"]:
        return f"not shown: {r['never']}"
    if r["met"] is not True:
        return "not shown"
    return str(r["why_not"] or "too late or never")


def response_kept(r: Record) -> bool:
    """Return whether one expectation was tried and met in time.

    A fault that came when there was nothing to answer shows nothing and is not kept; nor is one
    that could not be tried, or that nothing can answer.
    """
    if r["lacks"] or r["never"]:
        return False
    value = r["value"]
    in_time = value is not None and number(value) <= number(r["limit"])
    return r["met"] is True and not r["why_not"] and in_time


def number(value: Any) -> float:
    """Return a number as it is.

    Raises:
        TypeError: when it is none, such as a word or true.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"{value!r} is no number")
    return value


def some(rows: Sequence[Any]) -> Sequence[Any]:
    """Return rows of which there must be one at least.

    Raises:
        LookupError: when there is none.
    """
    if not rows:
        raise LookupError("no rows")
    return rows


RULES: Sequence[Callable[[Record], Iterator[str]]] = (
    promises,
    plausible,
    held,
    firmware,
    replay,
    false_alarms,
    responses,
)
