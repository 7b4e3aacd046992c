"""The real controller over a finite abstraction of its memory, explored from power-up.

Plain functions over flat integer records: they compile with the rest. What a slice keeps, what it
leaves free and what that over-approximates is data, see `springhouse_host.proof.slices`.
"""
