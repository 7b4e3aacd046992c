"""From sources to a board: compile, check against the proof, copy, verify, switch over."""
