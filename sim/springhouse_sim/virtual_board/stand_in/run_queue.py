# mypy: ignore-errors
"""Tasks and their queue for asyncio, in place of the built-in ones.

Those compare times on the host's own 2**62 ms clock; these follow the virtual clock and its wrap
at 2**30. Written to the protocol of asyncio's core: task fields coro, data, state, ph_key.
"""

import time


class TaskQueue:
    """Sorted by due time, first come first served among equals."""

    def __init__(self):
        self._tasks = []

    def peek(self):
        """Next task or None."""
        return self._tasks[0] if self._tasks else None

    def push(self, task, key=None):
        """Queue a task, due now or at `key`."""
        task.ph_key = time.ticks_ms() if key is None else key
        task.data = None
        at = len(self._tasks)
        while at and time.ticks_diff(self._tasks[at - 1].ph_key, task.ph_key) > 0:
            at -= 1
        self._tasks.insert(at, task)

    def pop(self):
        """Take the next task."""
        return self._tasks.pop(0)

    def remove(self, task):
        """Take a task out."""
        if task in self._tasks:
            self._tasks.remove(task)


class Task:
    """A coroutine being run."""

    def __init__(self, coro, globals=None):
        self.coro = coro
        self.data = None
        self.state = (
            True  # running and not awaited; False/None done, a queue of waiters, a function
        )
        self.ph_key = 0

    def __iter__(self):
        if not self.state:
            self.state = False
        elif self.state is True:
            self.state = TaskQueue()
        elif type(self.state) is not TaskQueue:
            raise RuntimeError("can't wait")
        return self

    def __next__(self):
        import asyncio

        if not self.state:
            raise self.data
        self.state.push(asyncio.core.cur_task)
        asyncio.core.cur_task.data = self

    def done(self):
        """Whether the coroutine has ended."""
        return not self.state

    def cancel(self):
        """Raise CancelledError where the coroutine waits; False if it has ended."""
        import asyncio

        if not self.state:
            return False
        if self is asyncio.core.cur_task:
            raise RuntimeError("can't cancel self")
        while isinstance(self.data, Task):  # waits for another task: that one is cancelled
            self = self.data
        queue = asyncio.core._task_queue
        if hasattr(self.data, "remove"):  # waits in the queue of a lock or an event
            self.data.remove(self)
            queue.push(self)
        elif time.ticks_diff(self.ph_key, time.ticks_ms()) > 0:
            queue.remove(self)
            queue.push(self)
        self.data = asyncio.core.CancelledError
        return True
