"""Which serial port the board is on."""

import os
from collections.abc import Sequence
from pathlib import Path

from serial.tools import list_ports

from ..errors import KnownError

# USB vendor numbers: the two chip makers and the makers of USB-serial converters on boards.
VENDORS = {0x2E8A, 0x303A, 0x10C4, 0x1A86, 0x0403}


def candidates() -> list[str]:
    """Return the ports that look like a board."""
    return sorted(port.device for port in list_ports.comports() if port.vid in VENDORS)


def choose(given: str | None, found: Sequence[str] | None = None) -> str:
    """Return the port to use: the given one if it can be opened, else the only candidate.

    Raises:
        KnownError: no such port, no permission, no board, or several.
    """
    if given is not None:
        return _usable(given)
    ports = candidates() if found is None else found
    if not ports:
        raise KnownError("port: no board found on USB: plug it in, or name it with --port")
    if len(ports) > 1:
        raise KnownError(f"port: several boards ({', '.join(ports)}): choose one with --port")
    return _usable(ports[0])


def _group(path: Path) -> str:
    try:
        return path.group()
    except KeyError:  # the number has no name on this computer
        return str(path.stat().st_gid)


def _usable(port: str) -> str:
    if "://" in port or os.name == "nt":
        return port
    path = Path(port)
    if not path.exists():
        known = ", ".join(candidates()) or "none seen"
        raise KnownError(f"port: {port} does not exist (boards: {known})")
    if not path.is_char_device():
        raise KnownError(f"port: {port} is not a serial port")
    if not os.access(path, os.R_OK | os.W_OK):
        raise KnownError(
            f"port: no permission for {port}: join the group {_group(path)} and log in again"
        )
    return port
