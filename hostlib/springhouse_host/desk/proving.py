"""The proof in a process of its own.

`python -m springhouse_host.desk.proving SITE JSON HTML UNITS` tells each step as a line of JSON on
standard output. It ends at once when its standard input does, so it never outlives the desk.
"""

import io
import json
import os
import sys
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import EXIT_BAD_INPUT, EXIT_NOT_KEPT, KnownError

if TYPE_CHECKING:
    from ..proof.verdict import Verdict

WIDE = 90  # characters of the verdict's text


def _say(said: Mapping[str, Any]) -> None:
    print(json.dumps(said), flush=True)


def text_of(verdict: "Verdict", us: bool) -> str:
    """Return the verdict as `springhouse prove` prints it."""
    from rich.console import Console

    from ..proof import show

    out = io.StringIO()
    screen = Console(file=out, width=WIDE, highlight=False, no_color=True)
    for table in (show.promises(verdict, us), show.held(verdict, us), show.responses(verdict, us)):
        screen.print(table)
    for line in (*show.remarks(verdict, us), *show.closing(verdict, us)):
        screen.print(line, markup=False)
    return out.getvalue()


def prove(site: str, record: Path, report: Path, us: bool) -> int:
    """Prove a site, write record and report, and tell what came of it.

    Raises:
        KnownError: on a bad site or a file that cannot be written.
    """
    from ..notebook import prove as run_proof
    from ..proof import show
    from ..report.make import write_proof
    from ..screen import check_writable, write_json

    check_writable(record, report)

    def proving(done: int, total: int) -> None:
        _say({"doing": "proving", "done": done, "total": total})

    def reporting(done: int, total: int) -> None:
        _say({"doing": "writing the report", "done": done, "total": total})

    proof = run_proof(site, on_progress=proving)
    write_json(record, proof.record)
    verdict = proof.verdict
    _say({"headline": show.headline(verdict), "text": text_of(verdict, us), "kept": verdict.kept})
    write_proof(verdict, report, us, reporting)
    _say({"report": str(report), "record": str(record)})
    return 0 if verdict.kept else EXIT_NOT_KEPT


def _end_with_parent() -> None:
    while os.read(0, 1):  # by its number: a thread that sits in `sys.stdin` is fatal at the end
        pass
    os._exit(EXIT_NOT_KEPT)


def main(arguments: Sequence[str]) -> int:
    """Run, and tell a known error as lines."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    site, record, report, units = arguments
    try:
        return prove(site, Path(record), Path(report), units == "us")
    except KnownError as error:
        _say({"refused": error.lines})
        return EXIT_BAD_INPUT


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
