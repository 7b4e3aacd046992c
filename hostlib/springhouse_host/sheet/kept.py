"""The sizing sheet of a site, kept while site, its files, sources and libraries stay as they are.

A sheet asked for again, in other units or with `--explain`, need not be worked out again. It is
kept under a hash of everything that has a say in it, in the folder of compiled code.
"""

import hashlib
import pickle
import platform
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

import springhouse
import springhouse_sim
from springhouse_sim import kept_file
from springhouse_sim.cache_folder import cache_root

from ..outside import read_bytes
from ..site import Site
from ..site.hashes import add_sources, canonical
from . import sizing
from .sizing import Sizing

FOLDER = "sheets"
LARGEST_BYTES = 20_000_000  # of a weather file
LIBRARIES = ("numpy", "scipy", "pandas", "pvlib", "numba", "CoolProp", "fluids", "ht")


def name(site: Site) -> str:
    """Return the hash of all that the sheet depends on.

    Raises:
        KnownError: when a file of the site cannot be read.
    """
    digest = hashlib.sha256()
    for said in (platform.python_version(), platform.machine(), *map(version, LIBRARIES)):
        digest.update(said.encode() + b"\0")
    add_sources(digest, Path(__file__).parents[1])
    for package in (springhouse, springhouse_sim):
        assert package.__file__ is not None
        add_sources(digest, Path(package.__file__).parent)
    # its path stands in refusals only, but its name and evidence in the sheet
    for text in (canonical(site.file), site.name, site.evidence, repr(site.known)):
        digest.update(text.encode() + b"\0")
    for path in (*site.weather.paths, site.prices):
        if path is not None:
            digest.update(hashlib.sha256(read_bytes(path, LARGEST_BYTES)).digest())
    return digest.hexdigest()


def size(site: Site, tick: Callable[[], None] = lambda: None) -> Sizing:
    """Return the sizing sheet, worked out unless it is kept; ``tick`` as of `sizing.size`."""
    asked = name(site)
    path = cache_root() / FOLDER / asked
    content = kept_file.read(path, asked)
    if content is not None:
        found = pickle.loads(content)  # checked, and made by this very program
        assert isinstance(found, Sizing)
        return found
    made = sizing.size(site, tick)
    kept_file.write(path, asked, pickle.dumps(made))
    return made
