"""Prints the proof, query by query: `python -m springhouse_host.induction [PART ...]`.

With PYTHONPATH set to another folder of firmware, that firmware is judged. Exit code 1 if any query
is not proven.
"""

import argparse
import json
import sys
import time
from dataclasses import asdict

from springhouse_host.induction.prove import PARTS, prove


def main() -> int:
    """Run from a shell."""
    parser = argparse.ArgumentParser(prog="python -m springhouse_host.induction")
    parser.add_argument("parts", nargs="*", metavar="PART", help=", ".join(PARTS))
    parser.add_argument(
        "--only",
        default="",
        help="queries of this topic (INV-04, starts, ...), or with this text in their name",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    asked = parser.parse_args()
    failed, begin = 0, time.process_time()
    for result in prove(asked.parts or PARTS, asked.only):
        failed += not result.proven
        if asked.json:
            print(json.dumps(asdict(result)), flush=True)
            continue
        label = f"INV-{result.invariant:02d}" if result.invariant else "      "
        print(f"{result.ended:10} {label} {result.part}: {result.name} [{result.how}]", flush=True)
    if not asked.json:
        print(f"{failed} not proven; {time.process_time() - begin:.0f} CPU s")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
