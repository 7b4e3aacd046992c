"""What a claim is, and the words in which claims and the hypothesis are written."""

from dataclasses import dataclass
from typing import Any

from springhouse import memory as cell
from springhouse import output, probes, reading, setting, timekeeping

from springhouse_host.induction import limits
from springhouse_host.induction.scene import Scene
from springhouse_host.induction.term import Truth
from springhouse_host.induction.terms import Terms

MOTORS = output.COMPRESSOR | output.PUMP | output.FAN
DELIVERY = output.PUMP | output.FAN
STARTS = cell.START_4_T - cell.START_1_T + 1


@dataclass(frozen=True)
class Claim:
    """Something that holds after a scan; `invariant` is its number, 0 = part of the hypothesis."""

    name: str
    invariant: int
    holds: Truth
    lemma: bool = False  # helps where the outputs' own formulas are left out
    topic: str = ""  # of the hypothesis


@dataclass(frozen=True)
class View:
    """Memory, settings and ghosts between two scans."""

    t: Terms
    memory: list[Any]
    settings: list[Any]
    ghosts: dict[str, Any]

    def has(self, word: Any, bit: int) -> Truth:
        """Whether any of these bits is set."""
        return self.t.true(self.t.bit_and(word, bit))

    def on(self, bit: int) -> Truth:
        """Whether an output is on."""
        return self.has(self.memory[cell.OUT], bit)

    def flag(self, bit: int) -> Truth:
        """Whether a flag of the controller is set."""
        return self.has(self.memory[cell.FLAGS], bit)

    def latched(self, bit: int) -> Truth:
        """Whether a fault is latched."""
        return self.has(self.memory[cell.LATCH], bit)

    def fitted(self, bit: int) -> Truth:
        """Whether a sensor is fitted."""
        return self.has(self.settings[setting.FITTED], bit)

    def ms(self, slot: int) -> Any:
        """A setting in seconds, as ms."""
        return self.t.times(self.settings[slot], 1000)

    def mode(self, number: int) -> Truth:
        """Whether the owner's mode is this one."""
        return self.t.equal(self.memory[cell.MODE], number)

    def trusted(self, i: int) -> Truth:
        """Whether a probe is trusted."""
        return trusted(self.t, self.memory, i)

    def lasts(self, slot: int, whole_ms: Any, since_ms: Any) -> Truth:
        """A wait that began `since_ms` ago still runs for the rest of its whole length."""
        t, left = self.t, self.t.subtract(whole_ms, since_ms)
        runs = t.both(t.at_most(0, self.memory[slot]), t.at_most(left, self.memory[slot]))
        return t.either(t.at_most(left, 0), runs)

    def bounds(self, slot: int, whole_ms: Any, since_ms: Any) -> Truth:
        """A time allowed that began `since_ms` ago is over, or runs no longer than the rest."""
        t, left = self.t, self.memory[slot]
        runs = t.both(t.at_most(0, left), t.at_most(t.add(left, since_ms), whole_ms))
        return t.either(t.equal(left, timekeeping.DUE), runs)


def trusted(t: Terms, memory: list[Any], i: int) -> Truth:
    """Whether a probe is trusted: enough good frames, and a store probe not stuck."""
    seen = t.equal(memory[cell.STORE_LOW_GOOD + i], limits.TRUST_FRAMES)
    if i > probes.HIGH:
        return seen
    return t.both(seen, t.no(t.equal(memory[cell.STORE_LOW_STUCK_T + i], timekeeping.DUE)))


def measured(scene: Scene, i: int) -> Any:
    """Temperature by a probe: its accepted frame and offset, else what stands in for it."""
    t = scene.terms
    fresh = t.add(
        scene.readings[reading.STORE_LOW_MC + i], scene.settings[setting.STORE_LOW_OFFSET_MK + i]
    )
    accepted = scene.has(scene.after[cell.VALID], 1 << i)
    return t.choose(accepted, fresh, scene.after[cell.STORE_LOW_ANCHOR_MC + i])


def surely(scene: Scene, i: int) -> Any:
    """What the temperature may be at the lowest."""
    return scene.terms.subtract(measured(scene, i), scene.settings[setting.STORE_LOW_ERR_MK + i])


def larger(t: Terms, a: Any, b: Any) -> Any:
    """The larger of two numbers."""
    return t.choose(t.less(a, b), b, a)


def smaller(t: Terms, a: Any, b: Any) -> Any:
    """The smaller of two numbers."""
    return t.choose(t.less(a, b), a, b)


def largest_first(t: Terms, values: list[Any]) -> list[Any]:
    """Four numbers in falling order."""
    v = list(values)
    for i, j in ((0, 1), (2, 3), (0, 2), (1, 3), (1, 2)):
        v[i], v[j] = larger(t, v[i], v[j]), smaller(t, v[i], v[j])
    return v
