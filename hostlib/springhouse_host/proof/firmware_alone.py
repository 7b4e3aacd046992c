"""What a proof finds about the firmware alone: the same for every site, so kept while it holds.

The complete check, the random inputs, the abstract machine and the proof by induction ask nothing
but the control core. What they found is kept under a hash of all that can have a say in it: every
source of the core, of the simulation and of these packages, the tools, the processor. It is made by
a process that imports all of it anew, and is kept only if no source was touched from before that
process began until it was done, so that what was run is what was hashed. Only a clean result is
kept.
"""

import hashlib
import json
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from springhouse_sim import compiled, kept_file
from springhouse_sim.cache_folder import cache_root

from ..site.hashes import add_sources
from ..workers import Workers

if TYPE_CHECKING:
    from ..induction.whole import Induction
    from .abstract import Checked
    from .complete import Complete
    from .random_inputs import RandomRun

FOLDER = "firmware-alone"  # in the folder of compiled code


@dataclass(frozen=True)
class Alone:
    """What the checks found; ``kept_since`` says when, if they were not run this time."""

    complete: "Complete"
    random: "RandomRun"
    machine: "Checked"
    induction: "Induction"
    kept_since: str = ""

    @property
    def clean(self) -> bool:
        """Whether nothing at all was found."""
        found = (
            *self.complete.violations,
            *self.machine.violations,
            *self.induction.missed,
        )
        return not found and not any(self.random.violations)


@dataclass(frozen=True)
class Stamp:
    """The hash that a result is kept under, and when each source was last touched."""

    digest: str
    touched_ns: tuple[tuple[int, int], ...]


def stamp() -> Stamp:
    """Return the stamp of the sources as they are now on disk."""
    from ..induction import whole

    digest = hashlib.sha256()
    touched = []
    for text in (*compiled.tools(), whole.solver_version()):
        digest.update(text.encode() + b"\0")
    folders = {
        **compiled.package_folders(),
        "proof": Path(__file__).parent,
        "induction": Path(whole.__file__).parent,
    }
    for name in sorted(folders):
        digest.update(name.encode() + b"\0")
        add_sources(digest, folders[name])
        for path in sorted(folders[name].rglob("*.py")):
            stat = path.stat()
            touched.append((stat.st_mtime_ns, stat.st_ctime_ns))
    return Stamp(digest.hexdigest(), tuple(touched))


def _file(digest: str) -> Path:
    return cache_root() / FOLDER / digest


def kept(before: Stamp) -> Alone | None:
    """Return what was found for these very sources, None if nothing usable is kept."""
    from ..induction import whole
    from .abstract import Checked, Explored
    from .complete import Complete
    from .random_inputs import RandomRun

    content = kept_file.read(_file(before.digest), before.digest)
    if content is None:
        return None
    told = json.loads(content)
    explored = tuple(Explored(**{**one, "path": (), "story": ()}) for one in told["explored"])
    random: dict[str, Any] = {
        name: tuple(n) if isinstance(n, list) else n for name, n in told["random"].items()
    }
    return Alone(
        Complete(**{**told["complete"], "violations": ()}),
        RandomRun(**random),
        Checked(explored, ()),
        whole.from_kept(told["induction"]),
        told["made"],
    )


def keep(before: Stamp, found: Alone) -> None:
    """Keep a clean result; without a folder to write to it is made again next time."""
    from ..induction import whole

    told: dict[str, Any] = {
        "made": datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        "complete": asdict(found.complete),
        "random": asdict(found.random),
        "explored": [asdict(one) for one in found.machine.explored],
        "induction": whole.as_kept(found.induction),
    }
    kept_file.write(_file(before.digest), before.digest, json.dumps(told).encode())


def make(before: Stamp, processes: int) -> Alone:
    """Run the checks, to be called in a process begun after ``before`` was taken."""
    from ..induction import whole
    from . import complete, exploring, random_inputs

    checked = complete.check()
    exploring.compile_only()  # before the pool, which then has the code in its memory
    with Workers(processes) as pool:
        random = pool.submit(random_inputs.drive)
        machine = exploring.check(pool.map)
        induction = whole.check(pool.map)
        found = Alone(checked, random.result(), machine, induction)
    if found.clean and stamp() == before:
        keep(before, found)
    return found
