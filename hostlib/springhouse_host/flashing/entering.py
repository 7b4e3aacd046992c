"""Into the interpreter's raw prompt, whatever the board does just then.

A program may be printing, the board may be starting or silent for seconds, this computer may be
slow to read what comes. So each try interrupts, drains, asks, and waits twice as long as the one
before; a word that nobody has said yet, sent and got back, shows that everything older was read.
"""

import contextlib
import io
import secrets
import time
from dataclasses import dataclass

import serial
from mpremote.transport import TransportError
from mpremote.transport_serial import SerialTransport

BANNER = b"raw REPL; CTRL-B to exit\r\n>"
INTERRUPT, RAW, RUN = b"\r\x03", b"\r\x01", b"\x04"
LOOK_S = 0.05  # longest wait of one look at the port while entering
READ_S = 20.0  # and afterwards: a board that writes flash is silent for a while
WRITE_S = 10.0
DRAIN_S = 1.0


@dataclass(frozen=True)
class Patience:
    """How long to wait for an answer: at first, at most, and with all tries together [s]."""

    first_s: float = 3.0
    most_s: float = 10.0
    overall_s: float = 90.0


PATIENCE = Patience()


class NoPrompt(Exception):
    """The board did not give its prompt; the port is closed."""


def _drain(port: serial.Serial, for_s: float) -> None:
    """Read and forget until nothing comes, or for so long: a program may print without end."""
    until = time.monotonic() + for_s
    while time.monotonic() < until:
        if not port.read(max(1, port.in_waiting)):
            return


def _comes(port: serial.Serial, wanted: bytes, for_s: float) -> bool:
    """Whether these bytes come in time, whatever comes before them; takes none behind them."""
    until = time.monotonic() + for_s
    tail = b""
    while True:
        tail = (tail + port.read(1))[-len(wanted) :]
        if tail == wanted:
            return True
        if time.monotonic() >= until:
            return False


def _try(port: serial.Serial, wait_s: float) -> bool:
    port.write(INTERRUPT)
    _drain(port, min(wait_s, DRAIN_S))
    port.write(RAW)
    if not _comes(port, BANNER, wait_s):
        return False
    word = secrets.token_hex(4)
    port.write(f"print({word!r}, end='')".encode() + RUN)
    return _comes(port, f"{word}\x04\x04".encode(), wait_s)  # its ">" is for the next command


def _open(port: str) -> SerialTransport:
    transport = SerialTransport(port, timeout=LOOK_S)
    transport.serial.write_timeout = WRITE_S
    return transport


def enter(port: str, patience: Patience = PATIENCE) -> SerialTransport:
    """Return the board at its raw prompt.

    The port stays open over the tries, for opening it resets some boards; it is opened again only
    where it broke off.

    Raises:
        NoPrompt: not within ``patience``; the port is closed.
    """
    until = time.monotonic() + patience.overall_s
    wait_s = patience.first_s
    transport: SerialTransport | None = None
    why = "no answer"
    tries = 0
    while not tries or time.monotonic() < until:
        tries += 1
        try:
            if transport is None:
                transport = _open(port)
            if _try(transport.serial, wait_s):
                transport.serial.timeout = READ_S
                transport.in_raw_repl = True
                return transport
            why = "no answer"
        except (TransportError, serial.SerialException, OSError) as error:
            why = " ".join(str(error).split())[-160:] or type(error).__name__
            let_go(transport)
            transport = None
            time.sleep(min(wait_s, max(0.0, until - time.monotonic())))
        except BaseException:
            let_go(transport)
            raise
        wait_s = min(2 * wait_s, patience.most_s)
    let_go(transport)
    raise NoPrompt(f"{why} in {tries} tries, {patience.overall_s:g} s")


def let_go(transport: SerialTransport | None, at_prompt: bool = True) -> None:
    """Close a port that may be gone already; nothing is sent to a board that was just reset."""
    if transport is None:
        return
    with contextlib.redirect_stdout(io.StringIO()):  # the package prints what it got
        with contextlib.suppress(TransportError, serial.SerialException, OSError):
            if at_prompt:
                transport.exit_raw_repl()  # whoever comes next finds a prompt that answers
        with contextlib.suppress(TransportError, serial.SerialException, OSError):
            transport.close()
        with contextlib.suppress(serial.SerialException, OSError):
            transport.serial.close()
