"""Explores every slice of the abstract machine, in this process or in those of a pool."""

from collections.abc import Callable, Iterable
from dataclasses import replace

from .abstract import Checked, Explored, Machine, slices
from .abstract_story import tell


def check_one(number: int) -> tuple[Explored, tuple[str, ...]]:
    """Explore slice `number`, return it and what it misses; to be called in any process."""
    machine = Machine(slices()[number])
    explored, keys = machine.explore()
    if explored.broken:
        return replace(explored, story=tuple(tell(machine, explored))), ()
    return explored, tuple(machine.missed(explored, keys))


def by_inputs() -> list[int]:
    """Return the numbers of the slices, those with most inputs first."""
    parts = slices()
    return sorted(range(len(parts)), key=lambda i: -Machine(parts[i]).inputs())


def compile_only() -> None:
    """Explore the smallest slice, so that processes begun later find the code compiled."""
    check_one(by_inputs()[-1])


def check(
    each: Callable[..., Iterable[tuple[Explored, tuple[str, ...]]]] = map,
) -> Checked:
    """Explore every slice; ``each`` maps them, such as the map of a pool."""
    order = by_inputs()
    found = zip(order, each(check_one, order), strict=True)
    by_slice = [one for _, one in sorted(found, key=lambda pair: pair[0])]
    return Checked(
        tuple(explored for explored, _ in by_slice),
        tuple(line for _, lines in by_slice for line in lines),
    )
