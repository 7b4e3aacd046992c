"""A file system that loses power after byte N.

Two worlds: `eager` keeps every byte as it is written (worst case for torn files); the other
keeps nothing of a file until it is flushed or closed, as littlefs does. Renaming and removing
are single steps that cost one count and happen whole or not at all.
"""

import io


class PowerCut(Exception):
    """Not an OSError: firmware cannot catch a power cut."""


class _Open(io.BytesIO):
    def __init__(self, files: "TornFiles", path: str, old: bytes) -> None:
        super().__init__()
        self._files = files
        self._path = path
        super().write(old)

    def write(self, data) -> int:
        for byte in bytes(data):
            self._files.spend()
            super().write(bytes([byte]))
            if self._files.eager:
                self._keep()
        return len(data)

    def _keep(self) -> None:
        self._files.kept[self._path] = self.getvalue()

    def flush(self) -> None:
        self._files.spend()
        self._keep()

    def close(self) -> None:
        if not self.closed and not self._files.dead:
            self._keep()
        super().close()


class TornFiles:
    def __init__(self, eager: bool) -> None:
        self.eager = eager
        self.kept: dict[str, bytes] = {}
        self.budget: int | None = None
        self.spent = 0
        self.dead = False

    def power(self, budget: int | None) -> "TornFiles":
        """Switch on again with so many steps until the next cut."""
        self.budget, self.spent, self.dead = budget, 0, False
        return self

    def spend(self) -> None:
        if self.dead:
            raise PowerCut
        if self.budget is not None and self.spent >= self.budget:
            self.dead = True
            raise PowerCut
        self.spent += 1

    def open(self, path: str, mode: str):
        if self.dead:
            raise PowerCut
        if mode == "rb":
            if path not in self.kept:
                raise OSError(2)
            return io.BytesIO(self.kept[path])
        self.spend()
        old = self.kept.get(path, b"") if mode == "ab" else b""
        if self.eager:
            self.kept[path] = old
        return _Open(self, path, old)

    def rename(self, old: str, new: str) -> None:
        self.spend()
        if old not in self.kept:
            raise OSError(2)
        self.kept[new] = self.kept.pop(old)

    def remove(self, path: str) -> None:
        self.spend()
        del self.kept[path]

    def listdir(self, path: str) -> list[str]:
        return [p[len(path) + 1 :] for p in self.kept if p.startswith(path + "/")]

    def size(self, path: str) -> int:
        return len(self.kept[path])

    def mkdir(self, path: str) -> None:
        self.spend()
