"""One case of the fault catalogue."""

from dataclasses import dataclass, replace

from springhouse import setting
from springhouse_sim.world.faults import Fault
from springhouse_sim.world.outage import Outage

from ..site.site import Site
from .responses import Expect
from .situations import Situation

WARM_STORE_C = 12.0  # so that the charge goes on for hours
TRAY_EMPTIED_S = 8 * 3600  # a person empties the tray every morning
NEARLY_CHARGED_K = 2.5  # above the target of the charge: the guards near freezing are wanted


def nearly_charged_c(site: Site) -> float:
    """Return the temperature of a store whose charge is nearly over [°C]."""
    return site.settings()[setting.DEEP_MC] / 1000.0 + NEARLY_CHARGED_K


@dataclass(frozen=True)
class FaultCase:
    """One fault, the situation in which it comes, and what must follow.

    Times of faults, outages and expectations are s after that moment. ``needs`` are sensors without
    which nothing can follow; ``lacks`` are the keys of the site file that are missing for it: then
    nothing is expected, and the run shows the truth. ``days`` is the least length of the run. A
    case ``from_start`` begins with the run.
    """

    row: int
    name: str
    at: Situation
    expects: tuple[Expect, ...]
    faults: tuple[Fault, ...] = ()
    outages: tuple[Outage, ...] = ()
    needs: int = 0
    store_start_c: float | None = WARM_STORE_C
    days: int = 1
    from_start: bool = False
    lacks: tuple[str, ...] = ()

    @property
    def physical(self) -> bool:
        """Whether it comes about whatever sensors are fitted."""
        return bool(self.happens)

    @property
    def happens(self) -> frozenset[str | int]:
        """What comes about physically: kinds of faults, lengths of outages [s]."""
        kinds = [fault.kind for fault in self.faults if fault.physical]
        return frozenset((*kinds, *(outage.duration_s for outage in self.outages)))

    def without_guard(self, lacks: tuple[str, ...]) -> "FaultCase":
        """Return it where what should answer it is missing; nor can a missing sensor be wrong."""
        real = tuple(fault for fault in self.faults if fault.physical)
        return replace(self, faults=real, expects=(), needs=0, lacks=lacks)

    @property
    def after_s(self) -> int:
        """How long after the moment the last of it is over, times of counted running left out."""
        ends = [0]
        ends += [f.onset_s + f.duration_s for f in self.faults]
        ends += [o.onset_s + o.duration_s for o in self.outages]
        for e in self.expects:
            ends.append(e.onset_s + max(e.stay_s, 0 if e.while_on else e.within_s))
        return max(ends)
