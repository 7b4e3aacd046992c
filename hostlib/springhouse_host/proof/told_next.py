"""What a proof said should be measured next, kept for `size` while site and sources stand.

It is kept under the hashes that a verdict for the site must hold, so that a changed litre or line
of code asks for another proof.
"""

import hashlib
import json
from pathlib import Path

from springhouse_sim import kept_file
from springhouse_sim.cache_folder import cache_root

from ..site.site import Site
from . import sources

FOLDER = "measure-next"  # in the folder of compiled code
ASK = "what to measure next, and how sure all this is: springhouse prove tells, once it has run"


def _name(site: Site) -> str:
    digest = hashlib.sha256()
    for name, value in sorted(sources.wanted(site).items()):
        digest.update(f"{name} {value}\0".encode())
    return digest.hexdigest()


def _file(name: str) -> Path:
    return cache_root() / FOLDER / name


def keep(site: Site, lines: list[str]) -> None:
    """Keep the lines that a proof printed."""
    name = _name(site)
    kept_file.write(_file(name), name, json.dumps(lines).encode())


def told(site: Site) -> list[str]:
    """Return what the last proof of the very same said, else one line that it can be asked."""
    name = _name(site)
    content = kept_file.read(_file(name), name)
    return [ASK] if content is None else [str(line) for line in json.loads(content)]
