"""What the owner does: acknowledge, ask for a mode, empty the tray, mop the floor."""

from dataclasses import dataclass

from .. import sense
from ..plant import given, state
from .stage import DAY_MS, MINUTE_MS, Events, Stage

# How fast a person pours the tray out: slow enough for the last film (tray.FILM_L) to take more
# than one step of the plant.
POUR_L_S = 0.02


@dataclass(frozen=True)
class Acknowledge:
    """A press of the acknowledge button."""

    at_s: int

    def act(self, stage: Stage) -> Events:
        """Press once."""
        yield stage.until(self.at_s * 1000)
        stage.sense[sense.ACK_SEQ] += 1


@dataclass(frozen=True)
class AskMode:
    """A request for one of the owner's modes (numbers of `mode.py`) for some minutes.

    ``again`` asks anew whenever that time is over.
    """

    at_s: int
    mode: int
    minutes: int
    again: bool = False

    def act(self, stage: Stage) -> Events:
        """Ask once, or again and again."""
        at_ms = self.at_s * 1000
        while True:
            yield stage.until(at_ms)
            stage.sense[sense.MODE] = self.mode
            stage.sense[sense.MODE_MIN] = self.minutes
            stage.sense[sense.MODE_SEQ] += 1
            if not self.again:
                return
            at_ms += self.minutes * MINUTE_MS


@dataclass(frozen=True)
class EmptyTray:
    """Pour the tray out once at ``at_s``; ``daily`` again each day, else never more."""

    at_s: int
    daily: bool = False
    acknowledge: bool = False  # press the button afterwards

    def act(self, stage: Stage) -> Events:
        """Carry the water away, a person's pour at a time."""
        at_ms = self.at_s * 1000
        while True:
            yield stage.until(at_ms)
            pour_s = -(-float(stage.state[state.TRAY_L]) // POUR_L_S)
            if pour_s > 0:
                stage.given[given.TRAY_EMPTY_L_S] = float(stage.state[state.TRAY_L]) / pour_s
                yield stage.until(at_ms + int(pour_s) * 1000)
                stage.given[given.TRAY_EMPTY_L_S] = 0.0
            if self.acknowledge:
                yield stage.until(stage.now_ms + MINUTE_MS)
                stage.sense[sense.ACK_SEQ] += 1
            if not self.daily:
                return
            at_ms += DAY_MS


@dataclass(frozen=True)
class MopFloor:
    """Mop up all water spilled so far."""

    at_s: int

    def act(self, stage: Stage) -> Events:
        """Mop once."""
        yield stage.until(self.at_s * 1000)
        spilled_l = float(stage.state[state.SPILL_L]) + float(stage.state[state.LEAKED_KG])
        stage.sense[sense.FLOOR_MOPPED_ML] = int(spilled_l * 1000.0)
