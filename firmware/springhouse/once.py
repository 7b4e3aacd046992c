"""Code that is needed once, at the start: its memory is given back."""

import sys


def forget(name: str) -> None:
    """Let go of a module of the package, e.g. "net.config"; who has its objects keeps them."""
    whole = "springhouse." + name
    parent, last = whole.rsplit(".", 1)
    del sys.modules[whole]
    delattr(sys.modules[parent], last)
