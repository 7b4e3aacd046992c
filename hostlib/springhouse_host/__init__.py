"""What a person touches on a computer: site files, sizing, proof, reports, commands.

For a notebook or script of one's own::

    from springhouse_host import load_site, run, prove, sweep, fit

See `notebook` for what they take and return. They are imported when first used, so that importing
the package costs nothing.
"""

from typing import TYPE_CHECKING, Any

import springhouse_sim as _first  # noqa: F401  notes the time before any other source is read

if TYPE_CHECKING:
    from .notebook import fit, load_site, prove, run, sweep

__all__ = ["fit", "load_site", "prove", "run", "sweep"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from . import notebook

    return getattr(notebook, name)
