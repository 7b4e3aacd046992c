"""The whole proof as a check of the firmware alone: in shares, and what it found."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass
from itertools import chain
from pathlib import Path
from typing import Any

import z3

from springhouse_host.induction.prove import PARTS, ClaimResult, InductiveProof
from springhouse_host.induction.story import tell, write_test

SHARES = 6  # of the step, for a pool
OF_A_SCAN = ("power-up", "step")  # parts whose counterexample is a scan that can be run

Share = tuple[str, int, int]


@dataclass(frozen=True)
class Induction:
    """Every query's result."""

    results: tuple[ClaimResult, ...]

    @property
    def missed(self) -> tuple[ClaimResult, ...]:
        """What is false, or undecided."""
        return tuple(r for r in self.results if not r.proven)

    @property
    def violations(self) -> tuple[str, ...]:
        """A story of several lines for what is false, a line for what is undecided."""
        return tuple(chain.from_iterable(map(_told, self.missed)))

    def broken(self, number: int) -> int:
        """How many queries about an invariant are not proven."""
        return sum(r.invariant == number for r in self.missed)

    def invariants(self) -> list[int]:
        """Numbers of the invariants that claims are about."""
        return sorted({r.invariant for r in self.results} - {0})

    def table(self) -> list[dict[str, Any]]:
        """Invariant, query and how it ended, for a record."""
        return [
            {
                "invariant": r.invariant or None,
                "part": r.part,
                "query": r.name,
                "how": r.how,
                "ended": r.ended,
            }
            for r in self.results
        ]

    def write_tests(self, folder: Path) -> list[Path]:
        """Write a regression test for everything false; returns the files."""
        return [write_test(r, folder) for r in self.missed if r.example and r.part in OF_A_SCAN]


def _told(result: ClaimResult) -> list[str]:
    if not result.example or result.part not in OF_A_SCAN:
        return [f"{result.part}: {result.name} [{result.ended}]"]
    return tell(result)


def solver_version() -> str:
    """Which solver answers."""
    return f"z3 {z3.get_version_string()}"


def shares() -> list[Share]:
    """What the processes of a pool do, the longest first."""
    step = [("step", n, SHARES) for n in range(SHARES)]
    return [*step, *((part, 0, 1) for part in PARTS if part != "step")]


def do_share(share: Share) -> list[ClaimResult]:
    """Build the formulas of a part and answer a share of its queries; in any process."""
    part, n, of = share
    return list(InductiveProof(part).results(share=n, shares=of))


def check(each: Callable[..., Iterable[list[ClaimResult]]] = map) -> Induction:
    """Run the whole proof; ``each`` maps the shares, such as the map of a pool."""
    return Induction(tuple(chain.from_iterable(each(do_share, shares()))))


def as_kept(induction: Induction) -> list[dict[str, Any]]:
    """Plain values of a result without counterexamples."""
    return [{k: v for k, v in asdict(r).items() if k != "example"} for r in induction.results]


def from_kept(told: Iterable[Mapping[str, Any]]) -> Induction:
    """The result again."""
    return Induction(tuple(ClaimResult(**one) for one in told))
