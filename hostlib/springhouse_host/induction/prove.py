"""The proof: base case, step, duties and lemmas, each query with its answer."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from springhouse_host.induction import ghosts, time_left
from springhouse_host.induction.claims import Claim, claims, hypothesis
from springhouse_host.induction.scene import Scene, scan
from springhouse_host.induction.solve import Answer, Solver
from springhouse_host.induction.terms import Term, Terms, Truth

SHORT = 3_000_000  # solver steps for a query that leaves something out
LONG = 400_000_000


@dataclass(frozen=True)
class Result:
    """One query: what was asked, of which part of the proof, and how it ended."""

    part: str  # "lemma", "power-up", "step" or "duty"
    name: str
    invariant: int  # 0: none, it carries the others
    how: str
    proven: bool
    example: dict[str, int] | None = None

    @property
    def ended(self) -> str:
        """proven, false or undecided."""
        if self.proven:
            return "proven"
        return "undecided" if self.example is None else "false"


class Proof:
    """Builds the formulas of one part and asks about them one by one."""

    def __init__(self, part: str) -> None:
        self.part = part
        self.terms = Terms()
        self._solver = Solver(self.terms)

    def results(self, only: str = "") -> Iterator[Result]:
        """Each query's result; `only` those with this text in their name."""
        for claim, premises, helps, cuts in self._queries():
            if only in claim.name:
                yield self._decide(claim, premises, helps, cuts)

    def names(self) -> list[str]:
        """What is asked, in order."""
        return [claim.name for claim, *_ in self._queries()]

    def _queries(
        self,
    ) -> Iterator[tuple[Claim, list[Truth], list[Truth], frozenset[int]]]:
        t = self.terms
        if self.part == "lemma":
            for name, holds in time_left.lemmas(t).items():
                yield Claim(f"time left: {name}", 0, holds), [], [], frozenset()
            return
        scene = scan(t, powered_up=self.part == "power-up")
        if self.part == "power-up":
            before = ghosts.at_power_up(t, scene.settings)
            known: list[Claim] = []
        else:
            before = ghosts.free(t, scene.settings)
            known = list(hypothesis(t, scene.before, scene.settings, before))
        after = ghosts.advance(scene, before)
        premises = [*scene.premises, *(c.holds for c in known)]
        outputs = frozenset(b.number for b in scene.out_bits() if isinstance(b, Term))
        wanted = list(claims(scene, before, after))
        lemmas = [c.holds for c in wanted if c.lemma]
        for claim in hypothesis(t, scene.after, scene.settings, after):
            yield claim, premises, lemmas, outputs
        for claim in wanted:
            yield claim, premises, [], frozenset()
        for duty in _by_place(t, scene):
            yield duty, premises, [], frozenset()

    def _decide(
        self, claim: Claim, premises: list[Truth], helps: list[Truth], cuts: frozenset[int]
    ) -> Result:
        def result(how: str, proven: bool, example: dict[str, int] | None = None) -> Result:
            return Result(self.part, claim.name, claim.invariant, how, proven, example)

        if claim.holds is True:
            return result("folds to true", True)
        solver, goal = self._solver, self.terms.no(claim.holds)
        everything: frozenset[int] = frozenset()
        if cuts:
            near = solver.near(goal, [*premises, *helps], cuts)
            if solver.ask(goal, near, cuts, SHORT).impossible:
                return result("outputs may be anything", True)
        if solver.ask(goal, solver.near(goal, premises), everything, SHORT * 10).impossible:
            return result("with what it speaks of", True)
        answer: Answer = solver.ask(goal, premises, everything, LONG)
        return result("with the whole hypothesis", answer.impossible, answer.example)


def _by_place(t: Terms, scene: Scene) -> Iterator[Claim]:
    places: dict[str, list[Truth]] = {}
    for duty in scene.duties:
        places.setdefault(duty.where, []).append(duty.impossible)
    for where, found in places.items():
        yield Claim(f"never: {where}", 0, t.no(t.either(*found)))


PARTS = ("lemma", "power-up", "step")


def prove(parts: Iterable[str] = PARTS, only: str = "") -> Iterator[Result]:
    """The whole proof, query by query."""
    for part in parts:
        yield from Proof(part).results(only)
