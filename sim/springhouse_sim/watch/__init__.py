"""An observer that sees only readings and outputs and counts broken invariants.

It shares the record slots with the firmware and none of its code, so that the controller is not
its own judge. Plain functions over flat integer arrays: they compile with the rest.
"""
