"""Proof by induction: the controller's own source as formulas, for every setting and any memory.

`terms` builds formulas, `translate` walks the source of `step` with them, `time_left` holds timers
as the time they have left (and shows that the wrapped ticks of the board amount to that), `claims`
says what must hold, `solve` asks a solver, `story` tells a counterexample.
"""
