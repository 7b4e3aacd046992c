"""Where files lie that are read but never imported: in a checkout, or where a wheel has put them.

A wheel holds the top folders `firmware` and `wiring` below `springhouse_files` (`setup.py`), but of
`firmware` only what is no package: the control core is the installed `springhouse` itself, so that
what runs here and what is flashed cannot differ.
"""

from pathlib import Path

import springhouse

CORE = "springhouse"
ROOT_FILES = ("boot.py", "main.py")  # the names that a board looks for
INSTALLED = "springhouse_files"


def checkout() -> Path | None:
    """Return the top folder of the checkout that the control core runs from, None if installed."""
    beside = _core().parent
    return beside.parent if all((beside / name).is_file() for name in ROOT_FILES) else None


def folder(name: str) -> Path:
    """Return a top folder of the repository, or what a wheel holds of it."""
    return (checkout() or _core().with_name(INSTALLED)) / name


def sources() -> dict[str, Path]:
    """Return the sources of the board's files by their POSIX path on it, sorted.

    Raises:
        FileNotFoundError: when boot.py or main.py is missing.
    """
    root = folder("firmware")
    found = {name: root / name for name in ROOT_FILES}
    for path in found.values():
        if not path.is_file():
            raise FileNotFoundError(2, "is missing", str(path))
    found |= {f"{CORE}/{name}": path for name, path in tree(_core()).items()}
    return dict(sorted(found.items()))


def tree(root: Path) -> dict[str, Path]:
    """Return all ``*.py`` under a folder by POSIX path, sorted."""
    found = {path.relative_to(root).as_posix(): path for path in root.rglob("*.py")}
    return dict(sorted(found.items()))


def _core() -> Path:
    assert springhouse.__file__ is not None
    return Path(springhouse.__file__).parent
