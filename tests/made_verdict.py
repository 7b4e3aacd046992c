"""A verdict as `prove --json` writes it, with numbers made up so that it is kept."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from springhouse_host.proof import invariants
from springhouse_host.proof.checking import CHANGED, SCHEMA, sealed


def found(**changes: Any) -> dict[str, Any]:
    """Parts of a record, not sealed; hashes that are not given are zeros."""
    parts: dict[str, Any] = {
        "schema": SCHEMA,
        "kept": True,
        "site": "made up",
        **{name: "0" * 64 for name in CHANGED},
        "promises": [
            {
                "name": "ice in the store",
                "safety": True,
                "unit": "kg",
                "limit": 0.3,
                "at_least": False,
                "worst": 0.25,
                "margin": 0.05,
                "scenario": "a drift",
                "kept": True,
            },
            {
                "name": "wanted hours",
                "safety": False,
                "unit": "%",
                "limit": 90.0,
                "at_least": True,
                "worst": 90.0,
                "margin": 0.0,
                "scenario": "hot days",
                "kept": True,
            },
        ],
        "plausible": {
            "wanted_percent": 95.0,
            "draws": [[0.1, 95.0]] * 19 + [[0.1, 60.0]],
            "summers": [{"draw": 19, "values": [0.1, 91.0]}],
            "violations": 0,
        },
        "not_guarded": [],
        "invariants": [
            {"id": invariants.identity(n), "text": text, "cases": 7, "violations": 0}
            for n, text in invariants.TEXTS.items()
        ],
        "responses": [
            {
                "row": 1,
                "fault": "tray fills",
                "expected": "off: pump and fan",
                "limit": 92.0,
                "value": 89.0,
                "unit": "s",
                "met": True,
                "never": "",
                "why_not": "",
                "lacks": [],
                "kept": True,
            }
        ],
        "complete_check": {"states": 1, "table_cases": 2, "interlock_cases": 3, "violations": []},
        "abstract_machine": {
            "slices": 1,
            "states": 2,
            "steps": 3,
            "transitions": 2,
            "violations": [],
        },
        "induction": {"queries": 5, "table": [], "violations": []},
        "random_inputs": {"scans": 9, "violations": 0},
        "false_alarms": {"runs": 6, "latched": {}},
        "replay": {"ticks": 4, "differing": 0},
    }
    return {**parts, **changes}


def write(path: Path, **changes: Any) -> Path:
    """Write it, sealed, and return its path."""
    path.write_text(json.dumps(sealed(found(**changes)), indent=2), "utf-8")
    return path
