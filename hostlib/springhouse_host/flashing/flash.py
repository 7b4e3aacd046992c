"""Put a proven site on a board. Every failure leaves it off or on the old complete version."""

import contextlib
import time
from array import array
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from springhouse.net.config import Config
from springhouse.record import NO_PROOF, Record, proven_sha256
from springhouse.storage import pack
from springhouse.wiring import Wiring

from ..errors import KnownError
from ..outside import from_json, read_text
from ..proof.checking import check
from ..site.hashes import settings_sha256
from .build import BOARDS, Image, build
from .copying import FOLDERS, CopyError, Progress, Prompt
from .line import Line, Message, after_reset
from .zone import with_zone

EXIT_BOARD = 3  # the board was touched and something failed; the message says how it stands

NETWORK_FILE = "network.json"

ANSWER_S = 8.0
SAFE_S = 25.0
FIRST_RECORD_S = 30.0

OFF_OLD = "the board is off; its old version is complete and runs at the next power-up"
OFF_NONE = "the board is off and holds no complete version"
UNTOUCHED = "nothing on the board was changed"


class BoardFailure(KnownError):
    """Something failed on the board; the line ends with the state it is in. Exit code 3."""

    def __init__(self, what: str, state: str) -> None:
        super().__init__(f"{what}; {state}")


@dataclass(frozen=True)
class Load:
    """What is to run on the board."""

    image: Image
    settings_hash: str  # first 16 digits, as the board reports it
    proven: bool


CONFIG_BYTES = 20_000  # a wiring or network file has some hundred


@dataclass(frozen=True)
class Steps:
    """What the person sees meanwhile."""

    say: Callable[[str], None] = lambda _text: None
    progress: Progress = lambda _done, _total: None


def read_wiring(path: Path) -> tuple[str, bytes, bool]:
    """Return (board, text, display?) of a wiring file, checked as the board will check it.

    Raises:
        KnownError: naming the file and what is wrong.
    """
    text = read_text(path, CONFIG_BYTES)
    given = from_json(text, path)  # the board's own check knows no depth
    wiring = Wiring(text)
    if wiring.fault:
        raise KnownError(f"{path}: {wiring.fault}")
    board = str(given.get("board", ""))
    if board not in BOARDS:
        raise KnownError(f"{path}: board: missing: one of {', '.join(BOARDS)}")
    return board, text.encode(), bool(wiring.choice["display"])


def read_network(path: Path) -> bytes:
    """Return the text of a network file, checked as the board will check it.

    Raises:
        KnownError: naming the file and what is wrong, never a password.
    """
    text = read_text(path, CONFIG_BYTES)
    from_json(text, path)
    fault = Config(text).fault
    if fault:
        raise KnownError(f"{path}: {fault}")
    return text.encode()


@dataclass(frozen=True)
class Proof:
    """A verdict's file, and the hashes that it must hold, by their names in it."""

    path: Path
    wanted: Mapping[str, str]


def make_load(
    settings: "array[int]",
    wiring: Path,
    proof: Proof | None,
    image: Image | None = None,
    zone: str | None = None,
    ranges: Sequence[tuple[int, int, int]] = (),
    network: Path | None = None,
) -> Load:
    """Build everything that goes on the board; ``proof`` None makes an unproven load.

    ``ranges`` are what the owner may change without another proof (slot, lowest, highest).
    ``zone`` names the place in the tz database whose clock the tariff and the owner follow.
    Without a ``network`` file the board gets none of the code that could use one.

    Raises:
        KnownError: bad wiring, no matching proof, firmware that does not compile.
    """
    board, text, display = read_wiring(wiring)
    if zone is not None:
        text = with_zone(text, zone, datetime.now(UTC))
    image = build(board) if image is None else image
    record = Record()
    for slot, value in enumerate(settings):
        record.settings[slot] = value
    record.ranges = list(ranges)
    if proof is not None:
        ours = {
            "settings_sha256": settings_sha256(settings, ranges),
            "firmware_sha256": image.firmware,
        }
        check(proof.path, {**proof.wanted, **ours})
        record.proof = proven_sha256(record.settings, record.ranges)
        record.firmware = bytes.fromhex(image.firmware)
    full = image.trimmed(network is not None, display)
    if network is not None:
        full = full.with_file(NETWORK_FILE, read_network(network))
    full = full.with_file("wiring.json", text)
    # The record changes while it runs, so the manifest does not cover it; it has its own checksum.
    code = {**full.code, "settings.0": pack(1, record.encode())}
    load_hash = proven_sha256(record.settings, record.ranges).hex()[:16]
    return Load(
        Image(image.board, image.firmware, image.root, code), load_hash, record.proof != NO_PROOF
    )


def into_safe_mode(port: str) -> bool:
    """Bring a running board into safe mode; False if there is no program, only a prompt.

    Raises:
        KnownError: nothing answers.
        BoardFailure: it answers but does not go into safe mode.
    """
    with Line(port) as line:
        seen = line.wait(lambda m: "up" in m or "safe" in m or "fault" in m, ANSWER_S / 2)
        if seen is None:
            line.poke()
            seen = line.wait(lambda m: "up" in m or "safe" in m, ANSWER_S / 2)
        if seen is None and ">>>" in line.other:
            return False
        if seen is None:
            raise KnownError(
                f"board: nothing answers on {port}: is it a board with MicroPython on it? "
                f"Hold its button while plugging it in; {UNTOUCHED}"
            )
        if "safe" in seen:
            return True
        if "fault" in seen:
            return False
        line.send({"cmd": "service"})
    found = after_reset(port, lambda m: "safe" in m, SAFE_S)
    if found is None:
        raise BoardFailure("board: does not go into safe mode", "it runs on as before")
    found[0].close()
    return True


def copy(port: str, load: Load, steps: Steps) -> str:
    """Fill the idle folder and switch over; returns the folder.

    Raises:
        BoardFailure: with the state the board is in.
    """
    state = OFF_OLD
    prompt = None
    try:
        prompt = Prompt(port)
        old = prompt.running_folder()
        state = OFF_OLD if old else OFF_NONE
        idle = FOLDERS[1] if old == FOLDERS[0] else FOLDERS[0]
        steps.say(f"copying into folder {idle}" + (f", {old} stays as it is" if old else ""))
        prompt.fill(idle, load.image.code, steps.progress)
        for name, data in load.image.root.items():
            prompt.replace(name, data)
        prompt.switch(idle)
        state = f"the board is off and runs the new version, folder {idle}, at the next power-up"
        prompt.reset()
        return idle
    except CopyError as error:
        raise BoardFailure(f"copy: {error}", state) from None
    finally:
        if prompt is not None:
            prompt.close()


def first_record(port: str, load: Load) -> Message:
    """Wait for the board to run and say what it runs.

    Raises:
        BoardFailure: it stays silent, stays in safe mode, or runs something else.
    """
    state = "the new version is on the board, but look at it before leaving it"
    found = after_reset(port, lambda m: "up" in m or "safe" in m or "fault" in m, FIRST_RECORD_S)
    if found is None:
        raise BoardFailure("board: no record after the reset", state)
    line, seen = found
    with line:
        if "fault" in seen:
            raise BoardFailure(f"board: {seen['fault']}", "its outputs are off")
        if "safe" in seen:
            raise BoardFailure(f"board: in safe mode: {seen['safe']}", "its outputs are off")
        with contextlib.suppress(OSError):
            line.send({"cmd": "get-state"})
            answer = line.wait(lambda m: "firmware" in m, ANSWER_S)
            if answer is not None:
                want = (load.settings_hash, load.image.firmware[:16], 0 if load.proven else 1)
                if (answer["settings"], answer["firmware"], answer["unproven"]) != want:
                    raise BoardFailure("board: reports other settings or firmware", state)
                _set_clock(line, state)
                return answer
    raise BoardFailure("board: breaks off after the reset", state)


def _set_clock(line: Line, state: str) -> None:
    """Give the board this computer's time; without it no tariff is followed."""
    line.send({"cmd": "set-time", "utc_s": int(time.time()), "sure": True})
    answer = line.wait(lambda m: "refused" in m or m.get("done") == "set-time", ANSWER_S)
    if answer is None or "refused" in answer:
        said = answer["refused"] if answer else "no answer"
        raise BoardFailure(f"board: clock not set: {said}", state)


def flash(port: str, load: Load, steps: Steps) -> Message:
    """Do it all; returns the board's own account of what it runs.

    Raises:
        KnownError: before anything was changed.
        BoardFailure: afterwards, with the state the board is in.
    """
    steps.say("asking the board to switch everything off")
    if not into_safe_mode(port):
        steps.say("no program on the board yet: installing the first one")
    copy(port, load, steps)
    steps.say("waiting for the first record")
    return first_record(port, load)
