"""Proof by induction: the controller's own source as formulas, for every setting and any memory.

`terms` builds formulas, `translate` walks the source of `step` with them, `time_left` holds timers
as the time they have left (and shows that the wrapped ticks of the board amount to that). `scene`
is one scan of which nothing is known, `ghosts` measure what really happened, `hypothesis` and
`claims` say what holds, `solve` asks a solver, `prove` asks all of it, `story` tells a
counterexample, `whole` is what `springhouse prove` runs.
"""
