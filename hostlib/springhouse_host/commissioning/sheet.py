"""The sheets: by hand without a computer, the record for print, the first charge by the hour."""

import textwrap
from datetime import date

from ..site import VARIANTS, Site
from ..site.tables import PROBES
from . import prediction
from .answer_book import Book, StepAnswer
from .kinds import CAUTIONS, Step
from .steps import STEPS, UPKEEP

WIDTH = 100
OFTEN = {1: "monthly", 12: "yearly"}
LABELS = {"low": "weakest", "mid": "middle", "high": "strongest"}


HAND = (
    "`springhouse commission SITE` asks the same, watches the board meanwhile and keeps a dated "
    "record; `--show` prints it, `--table FILE.txt` the first charge by the hour. The freezer "
    "stays unplugged from the relay up to *first_charge*, but where a step says so. Write date, "
    "value and name beside each line. This file is made by "
    "`springhouse_host.commissioning.sheet`."
)


def wrapped(text: str, indent: str = "   ") -> list[str]:
    """Return a text as indented lines for screen and print."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")


def hand_sheet() -> str:
    """Return wiring/commissioning.md: every step of every installation, to fill in with a pen."""
    lines = [
        "# Commissioning sheet",
        "",
        *textwrap.wrap(HAND, 100),
        "",
        *(f"- {caution}" for caution in CAUTIONS.values()),
        "",
        "| # | step | do | expect | judged |",
        "|---|---|---|---|---|",
    ]
    for n, step in enumerate(STEPS, 1):
        do = step.do.format(probe="each probe")
        lines.append(f"| {n} | {step.name} | {do} | {step.expect} | {step.judged} |")
    lines += ["", "## Again and again", "", "| what | how often |", "|---|---|"]
    for step in STEPS:
        if step.repeats_months:
            do = step.do.format(probe="each probe")
            lines.append(f"| {do} | {OFTEN[step.repeats_months]} |")
    lines += [f"| {what} | {often} |" for what, often, _ in UPKEEP]
    return "\n".join(lines) + "\n"


def figures(site: Site, step: Step) -> list[str]:
    """Return what is known beforehand of a step for this site."""
    if step.kind == "fill":
        line = prediction.fill_line(site)
        return [
            f"{site.file.store.water_litres:g} L stand at {line.water_mm:.0f} mm; line at most "
            f"{line.highest_mm:.0f} mm: rim {line.rim_mm:.0f}, less {line.ice_mm:.1f} for "
            f"{site.file.store.ice_limit_kg:g} kg of ice, less {prediction.HEADROOM_MM:g}",
            f"frozen solid the water would rise {line.solid_mm:.0f} mm (9 % of its height)",
        ]
    if step.kind == "flow":
        weakest, strongest = prediction.flow_l_min(site)
        return [f"{weakest:.2f} to {strongest:.2f} L/min for the readings of the labels"]
    if step.kind == "first_charge":
        return ["springhouse commission SITE --table FILE.txt writes the table by the hour"]
    return []


def as_text(value: object) -> str:
    """Return a value for a person."""
    if isinstance(value, list):
        return " ".join(f"{item:g}" for item in value)
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def answer_lines(step: Step, answer: StepAnswer | None) -> list[str]:
    """Return what stands under a step."""
    if answer is None:
        return [f"{ask.text}: ________ {ask.unit}".rstrip() for ask in step.asks]
    lines = [f"done {answer.on}" + (" (board)" if answer.by == "board" else "")]
    for ask in step.asks:
        if ask.name in answer.values:
            lines.append(f"{ask.text}: {as_text(answer.values[ask.name])} {ask.unit}".rstrip())
    lines += [f"= {name}: {value:.4g}" for name, value in answer.results.items()]
    lines += [f"note: {note}" for note in answer.notes]
    return lines + [f"WRONG: {wrong}" for wrong in answer.wrong]


def box(book: Book, step: Step) -> str:
    """Return the mark of a step: done, wrong, open."""
    if step.name not in book.answers:
        return "[ ]"
    return "[x]" if book.good(step) else "[!]"


def listing(book: Book) -> str:
    """Return the steps by name, with their marks."""
    width = max(len(step.name) for step in book.steps)
    return "".join(f"{box(book, s)} {s.name:{width}}  {s.do}\n" for s in book.steps)


def record_text(book: Book, today: date) -> str:
    """Return the record for print; what is open has lines to write on."""
    lines = [f"# {book.site.name}: commissioning", "", f"Printed {today.isoformat()}.", ""]
    for caution in CAUTIONS.values():
        lines += wrapped(f"- {caution}", "")
    for n, step in enumerate(book.steps, 1):
        lines += ["", *wrapped(f"{n}. {box(book, step)} {step.name}: {step.do}", "")]
        under = [f"expect: {step.expect}", f"judged: {step.judged}", *figures(book.site, step)]
        for text in under + answer_lines(step, book.answers.get(step.name)):
            lines += wrapped(text, "    ")
    if book.written:
        lines += ["", f"Results written to {book.written}."]
    return "\n".join(lines + due_lines(book, today)) + "\n"


def due_lines(book: Book, today: date) -> list[str]:
    """Return the proof tests that come back, with their dates."""
    due = book.due()
    lines = ["", "## Due again", ""] if due else []
    for day, what in due:
        late = "  OVERDUE" if day < today else ""
        lines.append(f"- {day.isoformat()}: {what}{late}")
    return lines


def budgets(site: Site) -> str:
    """Return the probes' error budgets as they stand in a site file."""
    fitted = [p for p in PROBES if getattr(site.file.sensors, p) == "fitted"]
    return ", ".join(f"{probe} {site.probe_errors_k[probe]:g} K" for probe in fitted)


def table_text(site: Site, table: prediction.Hourly) -> str:
    """Return the first charge by the hour, to hang beside the freezer."""
    heading = (
        f"{site.name}: first charge, {site.file.store.water_litres:g} L from {table.from_c:g} to "
        f"{table.to_c:g} °C, air beside the freezer {table.place_c:g} °C. Store in °C for the "
        "weakest, middle and strongest reading of the labels; write what you see. Between weakest "
        "and strongest, a third either way: well. Slower: lid, own thermostat, condenser, place. "
        "Faster: litres, stirring; ice comes sooner than expected."
    )
    lines = wrapped(heading, "")
    if table.run_min:
        lines.append(f"Warm fill: the motor runs {table.run_min} min and rests {table.rest_min}.")
    lines += [
        *wrapped("Stay with it. Case hot or a smell: plug out. " + CAUTIONS["mains"], ""),
        "",
        "hour  " + "  ".join(f"{LABELS[v]:>9}" for v in VARIANTS) + "      seen",
    ]
    for hour in range(max(len(row) for row in table.store_c.values())):
        row = "  ".join(f"{prediction.at_hour(table, v, hour):9.1f}" for v in VARIANTS)
        lines.append(f"{hour:4d}  {row}    ________")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(hand_sheet(), end="")
