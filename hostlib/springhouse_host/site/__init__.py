"""The site file: one installation in TOML, validated and turned into what the rest needs."""

from ..errors import SiteError
from .known import VARIANTS, Known, Variant
from .promises import Promise
from .site import BUILT_IN, Site, load_site

__all__ = [
    "BUILT_IN",
    "VARIANTS",
    "Known",
    "Promise",
    "Site",
    "SiteError",
    "Variant",
    "load_site",
]
