"""What a proof ran on: hashes of the text that was loaded, and whether it stayed that text.

Everything is read once before the proof begins. What was compiled carries the hash of its text
(`springhouse_sim.loaded_text`) and is held against that; other modules are the text of their files
unless a file was touched after this program began. When the proof is done nothing of it may have
been touched meanwhile, so that each process of it, whenever it began, ran and read the same.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import springhouse_sim
from springhouse_sim.compiled import Code

from ..errors import KnownError
from ..site import hashes
from ..site.site import Site, file_of, load_site
from .checking import CHANGED

AGAIN = "start it again"


@dataclass(frozen=True)
class Read:
    """A file as it was read: the hash of its bytes, and when it was last touched."""

    sha256: str
    mtime_ns: int
    ctime_ns: int


@dataclass(frozen=True)
class Ran:
    """The hashes of everything that a result depends on."""

    firmware_sha256: str
    simulator_sha256: str
    site_sha256: str
    settings_sha256: str
    weather_sha256: str
    tariff_sha256: str
    files: Mapping[Path, Read]

    def hashes(self) -> dict[str, str]:
        """Return them by name, as a record of a proof holds them."""
        return {name: getattr(self, name) for name in CHANGED}


def simulator_roots() -> tuple[Path, ...]:
    """Return the folders of what turns a site into a verdict, the firmware left out."""
    package = Path(__file__).parent.parent
    return Path(springhouse_sim.__file__).parent, package / "site", package / "proof"


def read(site: Site) -> Ran:
    """Read everything once.

    Raises:
        KnownError: naming a source that was touched after this program began.
    """
    files: dict[Path, Read] = {}
    simulator = _hashed(simulator_roots(), files)
    files |= {path: _read(path) for path in hashes.firmware_files().values()}
    late = [path for path, found in files.items() if found.ctime_ns > springhouse_sim.BEGAN_NS]
    if late:
        raise KnownError([f"{p}: was touched after this program began: {AGAIN}" for p in late])
    outside = [file_of(site.path), *site.weather.paths, site.prices]
    files |= {path: _read(path) for path in outside if path is not None}
    return Ran(
        hashes.firmware_sha256(),
        simulator,
        site.site_sha256,
        site.settings_sha256,
        site.weather_sha256,
        site.tariff_sha256,
        files,
    )


def wanted(site: Site) -> dict[str, str]:
    """Return the hashes, by their names, that a verdict for a site as it is now must hold."""
    here = {"simulator_sha256": _hashed(simulator_roots(), {})}
    return {name: here.get(name) or getattr(site, name) for name in CHANGED}


def _hashed(roots: Iterable[Path], files: dict[Path, Read]) -> str:
    """Return the hash of all sources in folders, and note each file."""
    digest = hashlib.sha256()
    for root in roots:
        for path in sorted(root.rglob("*.py")):
            files[path] = _read(path)
            name = path.relative_to(root.parent).as_posix()
            digest.update(f"{name}\0{files[path].sha256}\0".encode())
    return digest.hexdigest()


def _read(path: Path) -> Read:
    try:
        data, found = path.read_bytes(), path.stat()
    except OSError as error:
        raise KnownError(f"{path}: cannot be read: {error.strerror or error}") from None
    return Read(hashlib.sha256(data).hexdigest(), found.st_mtime_ns, found.st_ctime_ns)


def check_compiled(ran: Ran, code: Code) -> None:
    """Check that compiled code is of the text that was read.

    Raises:
        KnownError: naming each file whose text was compiled before it was edited.
    """
    stale = []
    for text in code.texts.values():
        held = ran.files.get(text.path)
        if held is None or held.sha256 != text.sha256:
            stale.append(f"{text.path}: was edited after it was compiled here: {AGAIN}")
    if stale:
        raise KnownError(sorted(stale))


def untouched(ran: Ran) -> bool:
    """Return whether no file was touched since it was read, by its times alone."""
    for path, held in ran.files.items():
        try:
            found = path.stat()
        except OSError:
            return False
        if (found.st_mtime_ns, found.st_ctime_ns) != (held.mtime_ns, held.ctime_ns):
            return False
    return True


def check_untouched(ran: Ran, site: Site) -> None:
    """Check, at the end, that all of it is as it was.

    Raises:
        KnownError: naming what was touched.
    """
    touched = [path for path, held in ran.files.items() if _read(path) != held]
    if touched:
        raise KnownError(
            [f"{path}: was touched while the proof ran: prove again" for path in sorted(touched)]
        )
    now = load_site(site.path, json.loads(site.changed))
    if now.site_sha256 != ran.site_sha256:
        raise KnownError(f"{site.path}: is another site than the one that was read: prove again")
