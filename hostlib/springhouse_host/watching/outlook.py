"""How long cold and battery will last, from the last records."""

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from springhouse import conditions, output, setting

from .board_record import BoardRecord

if TYPE_CHECKING:
    from ..site.site import Site

WINDOW_S = 1800.0  # the trend is that of the last half hour ...
LEAST_S = 300.0  # ... once there are five minutes of it
LONGEST_H = 48.0


@dataclass(frozen=True)
class Outlook:
    """Hours left; None where nothing can be said."""

    cold_h: float | None
    battery_h: float | None


class Trend:
    """Keeps what the outlook needs; without a site the battery's hours cannot be told."""

    def __init__(self, site: "Site | None") -> None:
        self._file = site.file if site is not None else None
        self._settings = site.settings() if site is not None else None
        self._store: deque[tuple[float, float]] = deque()  # board's clock [s], °C, while delivering
        self._on_battery_since: float | None = None
        self._up_s = -1.0

    def add(self, record: BoardRecord) -> None:
        """Take a record."""
        up_s = float(record.line.up)
        if up_s < self._up_s:  # the board has restarted
            self._store.clear()
            self._on_battery_since = None
        self._up_s = up_s
        store_c = record.store_c()
        if not record.on(output.PUMP) or record.on(output.COMPRESSOR) or store_c is None:
            self._store.clear()
        else:
            self._store.append((up_s, store_c))
            while up_s - self._store[0][0] > WINDOW_S:
                self._store.popleft()
        if record.mains:
            self._on_battery_since = None
        elif self._on_battery_since is None:
            self._on_battery_since = up_s

    def outlook(self, record: BoardRecord) -> Outlook:
        """Return the hours left as things go now."""
        return Outlook(self._cold_h(record), self._battery_h(record))

    def _cold_h(self, record: BoardRecord) -> float | None:
        """Straight line through the store's warming up to where delivery ends."""
        room_c, store_c = record.probe_c(2), record.store_c()
        if self._settings is None or len(self._store) < 3 or room_c is None or store_c is None:
            return None
        when = np.array(self._store)
        if when[-1, 0] - when[0, 0] < LEAST_S:
            return None
        slope = float(np.polyfit(when[:, 0] - when[0, 0], when[:, 1], 1)[0])
        spent_c = (self._settings[setting.WARM_FILL_MC] - conditions.SPENT_MK) / 1000.0
        useful_c = room_c - self._settings[setting.USEFUL_MK] / 1000.0
        left_k = min(spent_c, useful_c) - store_c
        if left_k <= 0.0:
            return 0.0
        return None if slope <= 0.0 else min(LONGEST_H, left_k / slope / 3600.0)

    def _battery_h(self, record: BoardRecord) -> float | None:
        """Rated energy less what went since mains failed, over what is drawn now."""
        file = self._file
        if file is None or record.mains or self._on_battery_since is None:
            return None
        if file.battery.kind == "none" or file.battery.usable_wh <= 0.0:
            return None
        watts = file.battery.board_w
        if record.on(output.PUMP):
            watts += file.loop.pump_w
        if record.on(output.FAN):
            watts += file.coil.fans * file.coil.fan_w
        gone_h = (record.line.up - self._on_battery_since) / 3600.0
        # All of it at the present rate: an outage's earlier hours may have drawn less.
        return max(0.0, min(LONGEST_H, file.battery.usable_wh / watts - gone_h))
