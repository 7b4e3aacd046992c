"""All drawings of an installation: schematic, mains side, plumbing."""

from ..site import Site
from ..site.words import protector
from . import drawing, plumbing
from .bus import on_bus
from .parts import divider_ohm, probe_pull_up_ohm
from .pins import Signal, load_profile
from .rules import Bought


def drawings(site: Site, board: str, table: tuple[Signal, ...], bought: Bought) -> dict[str, bytes]:
    """Return schematic, mains side and plumbing as SVG, by file name."""
    profile = load_profile(board)
    return {
        f"schematic-{board}.svg": drawing.schematic(
            board,
            table,
            profile.RELAY_PULSED,
            site.file.battery.nominal_v,
            probe_pull_up_ohm(site, bought),
            divider_ohm(site, profile),
            on_bus(site, bought.wired),
        ),
        "mains.svg": drawing.mains_blocks(site.file.freezer.mains_v, *protector(site.file)),
        "plumbing.svg": plumbing.sketch(site),
    }
