"""Put a proven site on a board. Every failure leaves it off or on the old complete version."""

import contextlib
import time
from array import array
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from springhouse import fitted as fitted_bits
from springhouse import setting
from springhouse.net.config import Config
from springhouse.record import NO_PROOF, Record, proven_sha256
from springhouse.storage import pack
from springhouse.wiring import PROBE_ROLES, Wiring

from ..errors import KnownError
from ..outside import from_json, read_text
from ..proof.checking import check
from ..site.hashes import settings_sha256
from .board_facts import MODULES, NETWORK_MODULES, refusal
from .build import BOARDS, Image, build
from .copying import FOLDERS, CopyError, Progress, Prompt
from .line import Line, Message, after_reset
from .zone import with_ice_point, with_zone

EXIT_BOARD = 3  # the board was touched and something failed; the message says how it stands

NETWORK_FILE = "network.json"

# What must stand in the wiring for a sensor that the settings call fitted. The floats and the mains
# have pins of their own.
WIRED_BY = {
    "flow_pulses_l": fitted_bits.FLOW,
    "fan_pulses_rev": fitted_bits.FAN_TACH,
    "battery_ratio_pm": fitted_bits.BATTERY,
}

LISTEN_S = 4.0  # for what a program says unasked
ANSWER_S = 8.0
STATE_TRIES = 4  # the board looks at six lines a minute
SAFE_S = 25.0
FIRST_RECORD_S = 30.0

OFF_OLD = "the board is off; its old version is complete and runs at the next power-up"
OFF_STOPPED = "the board is off; nothing on it was changed"
OFF_NONE = "the board is off and holds no complete version"
UNTOUCHED = "nothing on the board was changed"
TRIAL_FAILED = "its old version is complete and runs again"


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
    network: bool = False


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
class ProofFile:
    """A verdict's file, and the hashes that it must hold, by their names in it."""

    path: Path
    wanted: Mapping[str, str]


def check_wired(wiring: Wiring, fitted: int, path: Path) -> None:
    """Check that what the settings call fitted is wired.

    Raises:
        KnownError: naming what is not.
    """
    lacking = [
        role
        for n, role in enumerate(PROBE_ROLES)
        if fitted & fitted_bits.STORE_LOW << n
        and wiring.serials[n] is None
        and not (role == "room" and wiring.room_from_air)
    ]
    lacking = [f"probes: {', '.join(lacking)}"] if lacking else []
    lacking += [key for key, bit in WIRED_BY.items() if fitted & bit and not wiring.number[key]]
    if lacking:
        raise KnownError(
            f"{path}: the site has it fitted, but it is not wired: {'; '.join(lacking)}"
        )


def make_load(
    settings: "array[int]",
    wiring: Path,
    proof: ProofFile | None,
    image: Image | None = None,
    zone: str | None = None,
    ranges: Sequence[tuple[int, int, int]] = (),
    network: Path | None = None,
    ice_point_on: date | None = None,
) -> Load:
    """Build everything that goes on the board; ``proof`` None makes an unproven load.

    ``ranges`` are what the owner may change without another proof (slot, lowest, highest).
    ``zone`` names the place in the tz database whose clock the tariff and the owner follow.
    Without a ``network`` file the board gets none of the code that could use one. ``ice_point_on``
    is when the probes were last checked, for the board's self-test.

    Raises:
        KnownError: bad wiring, no matching proof, firmware that does not compile.
    """
    board, text, display = read_wiring(wiring)
    check_wired(Wiring(text.decode()), settings[setting.FITTED], wiring)
    if zone is not None:
        text = with_zone(text, zone, datetime.now(UTC))
    if ice_point_on is not None:
        text = with_ice_point(text, ice_point_on)
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
        Image(image.board, image.firmware, image.root, code),
        load_hash,
        record.proof != NO_PROOF,
        network is not None,
    )


def _anything(message: Message) -> bool:
    return "up" in message or "safe" in message or "fault" in message


def how_it_stands(port: str, wait_s: float = ANSWER_S) -> str:
    """Ask the board, and return what it is doing in words."""
    found = after_reset(port, _anything, wait_s)
    if found is None:
        return "it says nothing: look at it"
    line, seen = found
    line.close()
    if "safe" in seen:
        return f"it is in safe mode ({seen['safe']}), its outputs are off"
    return "its outputs are off" if "fault" in seen else "it runs its program"


def _not_another_board(line: Line, board: str | None) -> None:
    """Ask a running program which board it was made for: cheaper than to find out at the prompt."""
    if board is None:
        return
    line.send({"cmd": "get-state"})
    answer = line.wait(lambda m: "firmware" in m and "board" in m, ANSWER_S / 2)
    if answer is not None and answer["board"] != board:
        raise KnownError(f"board: it is a {answer['board']}; the image is for {board}; {UNTOUCHED}")


def into_safe_mode(port: str, board: str | None = None) -> bool:
    """Bring a running board into safe mode; False if there is no program, only a prompt.

    Raises:
        KnownError: nothing answers, or a program made for another board than ``board``.
        BoardFailure: it answers but does not go into safe mode.
    """
    with Line(port) as line:
        seen = line.wait(_anything, LISTEN_S)
        if seen is None:
            line.poke()
            line.send({"cmd": "get-state"})  # a program that reports seldom
            seen = line.wait(lambda m: _anything(m) or "firmware" in m, ANSWER_S / 2, True)
        if seen is None and line.prompt:
            return False
        if seen is None:
            raise KnownError(
                f"board: nothing answers on {port}: is it a board with MicroPython on it? "
                f"Hold its button while plugging it in; {UNTOUCHED}"
            )
        if seen.get("safe"):
            return True
        if "fault" in seen:
            return False
        _not_another_board(line, board)
        line.send({"cmd": "service"})
    found = after_reset(port, lambda m: "safe" in m, SAFE_S)
    if found is None:
        raise BoardFailure("board: does not go into safe mode", how_it_stands(port))
    found[0].close()
    return True


def copy(port: str, load: Load, steps: Steps) -> str:
    """Ask the board whether it can run the image, fill the idle folder and switch over.

    Returns the folder. What fails on the way leaves the idle folder empty, as far as the board
    still does what it is told.

    Raises:
        KnownError: the board cannot run it; nothing on it was changed.
        BoardFailure: with the state the board is in.
    """
    state = OFF_STOPPED
    prompt = None
    old = idle = ""
    try:
        prompt = Prompt(port)
        old = prompt.running_folder()
        state = OFF_OLD if old else OFF_NONE
        folder = FOLDERS[1] if old == FOLDERS[0] else FOLDERS[0]
        _ask_first(prompt, load, folder, steps)
        idle = folder
        steps.say(f"copying into folder {idle}" + (f", {old} stays as it is" if old else ""))
        prompt.fill(idle, load.image.code, steps.progress)
        for name, data in load.image.root.items():
            prompt.replace(name, data)
        prompt.switch(idle, trial=bool(old))
        filled, idle = idle, ""
        state = f"the board is off and runs the new version, folder {idle}, at the next power-up"
        prompt.reset()
        return filled
    except CopyError as error:
        if prompt is not None and idle:
            with contextlib.suppress(CopyError):
                prompt.empty(idle)
        raise BoardFailure(f"copy: {error}", state) from None
    except Refused as refused:
        stands = _back_to_work(prompt, port, old)
        raise KnownError(f"{refused.lines[0]}; {UNTOUCHED}, {stands}") from None
    finally:
        if prompt is not None:
            prompt.close()


def _state(line: Line) -> Message | None:
    """Ask a program for its state, more than once: a board may be busy, a line may be lost."""
    for _ in range(STATE_TRIES):
        line.send({"cmd": "get-state"})
        answer = line.wait(lambda m: "firmware" in m, ANSWER_S)
        if answer is not None:
            return answer
    return None


class Refused(KnownError):
    """The board cannot run the image."""


def _ask_first(prompt: Prompt, load: Load, idle: str, steps: Steps) -> None:
    board = prompt.ask(idle, MODULES + (NETWORK_MODULES if load.network else ()))
    steps.say(board.text())
    why = refusal(board, load.image, load.network)
    if why:
        raise Refused(why)


def _back_to_work(prompt: Prompt | None, port: str, old: str) -> str:
    """Let the old version run again, if there is one; returns how the board stands."""
    if not old or prompt is None:
        return "it is at its prompt"
    with contextlib.suppress(CopyError):
        prompt.reset()
    prompt.close()
    return how_it_stands(port, FIRST_RECORD_S)


def first_record(port: str, load: Load) -> Message:
    """Wait for the board to run and say what it runs.

    Raises:
        BoardFailure: it stays silent, stays in safe mode, or runs something else.
    """
    state = "the new version is on the board, but look at it before leaving it"
    found = after_reset(port, _anything, FIRST_RECORD_S)
    if found is None:
        raise BoardFailure("board: no record after the reset", state)
    line, seen = found
    with line:
        if "fault" in seen:
            raise BoardFailure(f"board: {seen['fault']}", "its outputs are off")
        if "safe" in seen:
            raise BoardFailure(f"board: in safe mode: {seen['safe']}", "its outputs are off")
        with contextlib.suppress(OSError):
            answer = _state(line)
            if answer is not None:
                want = (load.settings_hash, load.image.firmware[:16], 0 if load.proven else 1)
                if answer.get("trial", 0) < 0:
                    raise BoardFailure("board: the new version failed its trial", TRIAL_FAILED)
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
    if not into_safe_mode(port, load.image.board):
        steps.say("no program on the board yet: installing the first one")
    copy(port, load, steps)
    steps.say("waiting for the first record")
    return first_record(port, load)
