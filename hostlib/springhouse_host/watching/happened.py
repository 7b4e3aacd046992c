"""What happened to a board by itself, out of its black box: starts, faults, trials, self-tests."""

from collections.abc import Iterable
from datetime import datetime

from springhouse import blackbox, words

from ..fitting.log import BOX_BOOT, BOX_UPTIME_S, BOX_UTC_MIN

BOX_KIND, BOX_DETAIL = 0, 2
BOX_TEST = slice(12, 14)  # word of a self-test, lower half first
TASKS = ("probes", "contacts", "air chip", "relay")  # by the numbers of the board's beats.py
TRIALS = ("a new version on trial", "the new version kept", "the new version failed its trial")
FAULTS = {blackbox.RAISED: "something raised", blackbox.UNSETTLED: "the contacts did not settle"}
FAULTS |= {
    blackbox.SILENT + n: f"the task of the {name} fell silent" for n, name in enumerate(TASKS)
}


def _words(kind: int, detail: int, test: int) -> str:
    """Return a record in words, "" where it is none of these."""
    if kind == blackbox.BOOT:
        n = detail >> 8
        by = words.CAUSES[n] if n < len(words.CAUSES) else f"cause {n}"
        row = detail & 0xFF
        return f"started: {by}" + (f", start {row} in a row that nobody asked for" if row else "")
    if kind == blackbox.FAULT:
        return f"the program ended itself: {FAULTS.get(detail, f'fault {detail}')}"
    if kind == blackbox.TEST:
        return "self-test: " + words.test_text(test)
    if kind == blackbox.TRIAL:
        return TRIALS[detail] if detail < len(TRIALS) else f"trial: {detail}"
    return ""


def happened(found: Iterable[tuple[int, ...]]) -> list[str]:
    """Return a line for each such record, in their order."""
    made = []
    for record in found:
        low, high = record[BOX_TEST]
        text = _words(record[BOX_KIND], record[BOX_DETAIL], high << 16 | low)
        if not text:
            continue
        when = f"boot {record[BOX_BOOT]}, {record[BOX_UPTIME_S]} s after power-up"
        if record[BOX_UTC_MIN]:
            when = datetime.fromtimestamp(60 * record[BOX_UTC_MIN]).strftime("%Y-%m-%d %H:%M")
        made.append(f"{when}: {text}")
    return made
