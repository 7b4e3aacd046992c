"""Find a new seed for each planted bug that its episode no longer catches, and write it down.

    python tests/sim/renew_seeds.py [EPISODES]

The dice of the adversary fall anew whenever it is changed; a search that begins at a stale seed
still ends, after minutes. Leaves with 1 if a bug is not caught within EPISODES (400) from seed 0.
"""

import re
import sys
import tempfile
from pathlib import Path

from test_planted_bugs import BUGS, copied_firmware, search

LIST = Path(__file__).parent / "planted_bugs.toml"
EPISODES = 400


def renewed(text: str, story: str, seed: int) -> str:
    """Return the list with another seed for the bug of that story."""
    blocks = text.split("[[bug]]")
    at = [k for k, block in enumerate(blocks) if f'story = "{story}"' in block]
    if len(at) != 1:
        raise ValueError(f"{story}: {len(at)} bugs with this story")
    blocks[at[0]] = re.sub(r"(?m)^seed = \d+$", f"seed = {seed}", blocks[at[0]])
    return "[[bug]]".join(blocks)


def main(episodes: int) -> int:
    """Renew what is stale."""
    lost = 0
    for bug in BUGS:
        with tempfile.TemporaryDirectory() as folder:
            file = copied_firmware(Path(folder)) / "springhouse" / bug["file"]
            file.write_text(file.read_text("utf-8").replace(bug["old"], bug["new"]), "utf-8")
            where = Path(folder), bug["invariant"]
            found = search(*where, bug["seed"], 1, bug["scans"])
            if found == "none":
                found = search(*where, 0, episodes, bug["scans"])
        print(f"INV-{bug['invariant']:02d} {bug['story']}: {found}", flush=True)
        if found == "none":
            lost += 1
            continue
        seed = int(found.removeprefix("seed "))
        LIST.write_text(renewed(LIST.read_text("utf-8"), bug["story"], seed), "utf-8")
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else EPISODES))
