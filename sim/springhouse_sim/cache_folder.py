"""Where what takes long to make is kept from one run of the program to the next."""

import os
from pathlib import Path

import platformdirs

CACHE_VARIABLE = "SPRINGHOUSE_CACHE"


def cache_root() -> Path:
    """Return the folder of all of it: ``SPRINGHOUSE_CACHE``, else the user's cache."""
    chosen = os.environ.get(CACHE_VARIABLE)
    return Path(chosen) if chosen else Path(platformdirs.user_cache_dir("springhouse"))
