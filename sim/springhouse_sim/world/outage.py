"""Mains outages."""

from dataclasses import dataclass

from ..plant import given
from .stage import Events, Stage


@dataclass(frozen=True)
class Outage:
    """Mains away from ``onset_s`` of the scenario for ``duration_s``.

    Raises:
        ValueError: on a negative onset or a duration below one second.
    """

    onset_s: int
    duration_s: int

    def __post_init__(self) -> None:
        if self.onset_s < 0 or self.duration_s < 1:
            raise ValueError(
                f"Outage: onset {self.onset_s} s and duration {self.duration_s} s "
                "must be at least 0 s and 1 s"
            )

    def act(self, stage: Stage) -> Events:
        """Take mains away and bring it back."""
        yield stage.until(self.onset_s * 1000)
        stage.given[given.MAINS] = 0.0
        yield stage.until((self.onset_s + self.duration_s) * 1000)
        stage.given[given.MAINS] = 1.0
