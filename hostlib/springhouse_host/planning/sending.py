"""Gives a plan to a board over its link."""

import time
from collections.abc import Callable, Sequence

from springhouse.link import A_MINUTE

from ..errors import KnownError
from ..flashing.adjust import LOOK, RATION, look_at
from ..flashing.flash import ANSWER_S, BoardFailure
from ..flashing.line import Line
from ..outside import from_json
from ..site import Site

LOOKS = 2  # commands that looking at what runs takes
KEPT = "the plan in force stays"


def send(
    port: str, site: Site, lines: Sequence[str], pause: Callable[[float], None] = time.sleep
) -> None:
    """Send the lines of a plan, in as many minutes as the board's ration takes.

    Raises:
        KnownError: nothing was changed: no answer, another site's settings, a plan refused.
        BoardFailure: part of the plan may be in force.
    """
    with Line(port) as line:
        look_at(line, port, site)
        left = A_MINUTE - LOOKS
        try:
            for n, text in enumerate(lines):
                if not left:
                    pause(61.0)
                    left = A_MINUTE
                left -= 1
                line.send(from_json(text, "plan"))
                answer = line.wait(lambda m: "refused" in m or m.get("done") == "plan", ANSWER_S)
                if answer is not None and "refused" not in answer:
                    continue
                why = (
                    "no answer to the plan: " + RATION
                    if answer is None
                    else "refuses: " + str(answer["refused"])
                )
                if n or answer is None:
                    raise BoardFailure(f"board: {why}", LOOK.replace("settings", "plan"))
                raise KnownError(f"board: {why}; {KEPT}")
        except OSError as error:
            raise BoardFailure(f"board: the line broke off: {error}", "send it again") from None
