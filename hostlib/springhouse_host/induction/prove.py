"""The proof: base case, step, duties and lemmas, each query with its answer."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

from springhouse import output

from springhouse_host.induction import ghosts, time_left
from springhouse_host.induction.claim import Claim, View
from springhouse_host.induction.claims import claims
from springhouse_host.induction.hypothesis import hypothesis
from springhouse_host.induction.resets import resets, resumed
from springhouse_host.induction.scene import Scene, scan
from springhouse_host.induction.solve import Answer, Solver
from springhouse_host.induction.term import Term, Truth, value_of
from springhouse_host.induction.terms import Terms
from springhouse_host.induction.tick_origin import depends_on_origin

GROUP = 60_000_000  # solver steps for several claims asked as one
SHORT = 30_000_000  # for one that leaves something out
LONG = 400_000_000

PARTS = ("lemma", "reset", "power-up", "step")


@dataclass(frozen=True)
class ClaimResult:
    """One query: what was asked, of which part of the proof, and how it ended."""

    part: str  # one of `PARTS`
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


@dataclass(frozen=True)
class Question:
    """A claim, and whether it must hold or merely be possible."""

    topic: str
    claim: Claim
    possible: bool = False  # to be shown possible, so that nothing is proven of nothing


class InductiveProof:
    """Builds the formulas of one part and asks about them."""

    def __init__(self, part: str) -> None:
        self.part = part
        self.terms = Terms()
        self.scene: Scene | None = None
        self._solver = Solver()
        self._premises: list[Truth] = []
        self._lemmas: list[Truth] = []
        self._outputs: frozenset[int] = frozenset()
        makers = {"lemma": self._lemma, "reset": self._reset}
        self.questions = list(makers.get(part, self._scan)())

    def results(self, only: str = "", share: int = 0, shares: int = 1) -> Iterator[ClaimResult]:
        """Each query's result; `only` those of this topic or with this text in their name.

        With `shares` above 1 every so-many-th topic, so that several processes do the whole.
        """
        asked = [q for q in self.questions if only == q.topic or only in q.claim.name]
        topics = groupby(asked, key=lambda q: q.topic)
        for n, (_, questions) in enumerate(topics):
            if n % shares == share:
                yield from self._topic(list(questions))

    # What is asked.

    def _lemma(self) -> Iterator[Question]:
        for name, holds in time_left.lemmas(self.terms).items():
            yield Question(name, Claim(f"time left: {name}", 0, holds))

    def _reset(self) -> Iterator[Question]:
        self._premises, claims = resets(self.terms)
        for claim in claims:
            yield Question(f"INV-{claim.invariant:02d}" if claim.invariant else "reset", claim)
        granted = Claim("possible: what is taken for granted of a reset", 0, True)
        yield Question("possible", granted, True)

    def _scan(self) -> Iterator[Question]:
        t = self.terms
        scene = self.scene = scan(t, powered_up=self.part == "power-up")
        self._premises = list(scene.premises)
        if scene.powered_up:
            before = ghosts.at_power_up(t, scene.before, scene.settings)
        else:
            before = ghosts.free(t, scene.settings)
            known = hypothesis(View(t, scene.before, scene.settings, before))
            self._premises += [claim.holds for claim in known]
        after = ghosts.advance(scene, before)
        self._outputs = frozenset(b.number for b in scene.out_bits() if isinstance(b, Term))
        wanted = list(claims(scene, before, after))
        if scene.powered_up:
            wanted += resumed(scene)
        self._lemmas = [c.holds for c in wanted if c.lemma]
        for claim in hypothesis(View(t, scene.after, scene.settings, after)):
            yield Question(claim.topic, claim)
        for claim in wanted:
            yield Question(f"INV-{claim.invariant:02d}", claim)
        for duty in _by_place(t, scene):
            yield Question("never", duty)
        yield from self._possible(scene)
        if not scene.powered_up:
            fault = depends_on_origin(scene)
            name = "no output and no memory depends on where ticks start"
            yield Question("INV-23", Claim(fault or name, 23, not fault))

    def _possible(self, scene: Scene) -> Iterator[Question]:
        """What must be possible, or the hypothesis would be one that no controller satisfies."""
        t = self.terms
        yield Question("possible", Claim("possible: what is taken for granted", 0, True), True)
        if scene.powered_up:
            return
        for name, bit in (
            ("compressor", output.COMPRESSOR),
            ("pump", output.PUMP),
            ("fan", output.FAN),
        ):
            starts, stops = scene.starts(bit), scene.stops(bit)
            yield Question("possible", Claim(f"possible: {name} starts", 0, starts), True)
            yield Question("possible", Claim(f"possible: {name} stops", 0, stops), True)
        together = t.both(*(scene.on(bit) for bit in (output.COMPRESSOR, output.PUMP, output.FAN)))
        yield Question("possible", Claim("possible: all motors run", 0, together), True)

    # How it is answered.

    def _topic(self, questions: list[Question]) -> Iterator[ClaimResult]:
        """The claims of a topic as one query, and one by one only if that is not proven."""
        open_ones: list[Claim] = []
        for question in questions:
            claim = question.claim
            if question.possible:
                yield self._is_possible(claim)
            elif isinstance(claim.holds, bool):
                yield self._result(claim, "folds", claim.holds, None if claim.holds else {})
            else:
                open_ones.append(claim)
        if len(open_ones) > 1:
            goal = self.terms.no(self.terms.both(*(c.holds for c in open_ones)))
            answer = self._solver.ask(goal, self._premises, effort=GROUP)
            how = f"one query for {len(open_ones)} claims"
            if answer.impossible:
                yield from (self._result(c, how, True) for c in open_ones)
                return
            if answer.example is not None:
                example = answer.example
                false = [c for c in open_ones if not value_of(c.holds, example)]
                yield from (self._result(c, how, False, example) for c in false)
                open_ones = [c for c in open_ones if c not in false]
        for claim in open_ones:
            yield self._decide(claim)

    def _is_possible(self, claim: Claim) -> ClaimResult:
        answer = self._solver.ask(claim.holds, self._premises, effort=LONG)
        return self._result(claim, "an example", answer.example is not None)

    def _decide(self, claim: Claim) -> ClaimResult:
        solver, goal = self._solver, self.terms.no(claim.holds)
        if solver.ask(goal, self._premises, effort=SHORT).impossible:
            return self._result(claim, "a query of its own", True)
        if self._outputs:
            near = solver.near(goal, [*self._premises, *self._lemmas], self._outputs)
            if solver.ask(goal, near, self._outputs, SHORT).impossible:
                return self._result(claim, "whatever the outputs are", True)
        answer: Answer = solver.ask(goal, self._premises, effort=LONG)
        return self._result(claim, "a query of its own", answer.impossible, answer.example)

    def _result(
        self, claim: Claim, how: str, proven: bool, example: dict[str, int] | None = None
    ) -> ClaimResult:
        return ClaimResult(self.part, claim.name, claim.invariant, how, proven, example)


def _by_place(t: Terms, scene: Scene) -> Iterator[Claim]:
    places: dict[str, list[Truth]] = {}
    for duty in scene.duties:
        places.setdefault(duty.where, []).append(duty.impossible)
    for where, found in places.items():
        yield Claim(f"never: {where}", 0, t.no(t.either(*found)))


def prove(parts: Iterable[str] = PARTS, only: str = "") -> Iterator[ClaimResult]:
    """The whole proof, query by query."""
    for part in parts:
        yield from InductiveProof(part).results(only)
