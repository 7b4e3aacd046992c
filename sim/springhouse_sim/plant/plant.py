"""All parts together: one parameter record and one initial state."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import param, state
from .battery import Battery
from .coil import Coil
from .freezer import Freezer
from .loop import Loop
from .place import Place
from .room import Room
from .store import Store
from .tray import Tray


@dataclass(frozen=True, kw_only=True)
class Plant:
    """The described installation."""

    store: Store
    freezer: Freezer
    place: Place
    loop: Loop
    coil: Coil
    room: Room
    tray: Tray
    battery: Battery

    def params(self) -> NDArray[np.float64]:
        """Return the parameter record, shape (param.SIZE,); builds the tables (about a second)."""
        p = np.zeros(param.SIZE)
        self.store.put(p)
        self.freezer.put(p)
        self.place.put(p)
        self.loop.put(p)
        self.coil.put(p, self.loop)
        self.room.put(p)
        self.tray.put(p)
        self.battery.put(p)
        return p

    def initial(self) -> NDArray[np.float64]:
        """Return the state record at the start, shape (state.SIZE,)."""
        x = np.zeros(state.SIZE)
        self.place.start(x)
        self.store.start(x)
        self.freezer.start(x)
        self.loop.start(x)
        self.coil.start(x)
        self.room.start(x)
        self.tray.start(x)
        self.battery.start(x)
        return x
