"""Loader: runs the code in the folder that the file `current` names, `a` or `b`.

A new version is copied into the other folder, and the file `trial` names it. The first start makes
that file `tried` and runs the new version. Only one that has run for its time makes itself the
current one, see `springhouse.trial`. Whatever restarts the board before that, the next start finds
`tried`, names it `failed`, and the old version runs. Without any of these files the code is looked
for on the usual path.
"""

import gc
import os
import sys

# Bytes between two collections while the program is read. Without them what it keeps ends up spread
# over the whole heap, and then no piece is left that is large enough for anything.
gc.threshold(4096)


def named(path: str) -> str:
    """The folder that a file names, "" if none."""
    try:
        with open(path) as f:
            name = f.read(8).strip()
    except (OSError, ValueError):
        return ""
    return name if name in ("a", "b") else ""


def folder() -> str:
    """The folder to run from, "" for the usual path."""
    current = named("current")
    try:
        tried = named("tried")
        if tried == current:
            if tried:
                os.remove("tried")  # it has made itself the current one, and was cut behind that
        elif tried:
            os.rename("tried", "failed")
            return current
        trial = named("trial")
        if trial and trial != current:
            os.rename("trial", "tried")
            return trial
    except OSError:
        pass  # what cannot be noted is not tried
    return current


where = folder()
if where:
    sys.path.insert(0, where)
try:
    from springhouse import app

    app.run(where)
except Exception as problem:
    # The outputs are off, by boot.py or by the application; the interpreter stays open for a copy.
    print('{"fault":"code in %s stopped: %s"}' % (where or "/", repr(problem)[:160]))
    if named("tried") == where != "":
        import machine

        machine.reset()
