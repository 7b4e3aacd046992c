"""What is known of the next two days, in quarter hours, and what the room then asks for."""

from dataclasses import dataclass, replace

import numpy as np
from springhouse.ahead import QUARTER_MIN
from springhouse_sim.plant import moist_air
from springhouse_sim.trace import Trace

from .around import QUARTER_H, Array, each_quarter
from .clock import Flags, spells
from .reduced import Reduced

MOST_LATENT = 2.0  # times the sensible heat
KG_PER_KWH = 3.6e6 / moist_air.LATENT_J_KG


@dataclass(frozen=True, eq=False)
class Ahead:
    """The horizon, one value a quarter hour; nodes have one more, the last at its end.

    ``air_c`` and ``mass_c`` are those of the room without a store; ``wanted`` is when it is to be
    cooled, ``may_run`` when the owner lets the compressor run.
    """

    price: Array  # currency a kWh
    wanted: Flags
    may_run: Flags
    place_c: Array
    humidity: Array  # of the room's air, kg/kg
    air_c: Array  # nodes
    mass_c: Array  # nodes

    @property
    def quarters(self) -> int:
        """How many quarter hours the plan covers."""
        return len(self.price)

    def cut(self, first: int, count: int) -> "Ahead":
        """Return a part of it."""
        to = first + count
        return Ahead(
            self.price[first:to], self.wanted[first:to], self.may_run[first:to],
            self.place_c[first:to], self.humidity[first:to],
            self.air_c[first : to + 1], self.mass_c[first : to + 1],
        )  # fmt: skip

    def with_price(self, price: Array) -> "Ahead":
        """Return the same at other prices."""
        return replace(self, price=price)

    def with_room(
        self, warmer_air_k: Array, warmer_mass_k: Array, warmer_place_k: Array
    ) -> "Ahead":
        """Return the same with another forecast of the room without a store and of the place."""
        return replace(
            self,
            air_c=self.air_c + warmer_air_k,
            mass_c=self.mass_c + warmer_mass_k,
            place_c=self.place_c + warmer_place_k,
        )


def of_trace(free: Trace, price: Array, wanted: Flags, may_run: Flags) -> Ahead:
    """Return the horizon of a run of the room without a store; the rest is a value a quarter."""

    def nodes(name: str) -> Array:
        column = free.column(name)
        at = column[::QUARTER_MIN]
        return np.append(at, column[-1])[: len(price) + 1]

    def means(name: str) -> Array:
        return np.asarray(each_quarter(free.column(name)).mean(axis=1)[: len(price)])

    return Ahead(
        price, wanted, may_run, means("place_c"), means("room_humidity_ratio"),
        nodes("room_air_c"), nodes("room_mass_c"),
    )  # fmt: skip


@dataclass(frozen=True)
class Aim:
    """How warm the room may become [°C], and where its thermostat stops cooling it.

    ``margin_k`` is how far below the limit the room is held, and how much colder than needed the
    store, in case it gets warmer than forecast.
    ``plan_tells`` says whether the plan decides when the room is cooled, or its week plan does.
    """

    limit_c: float
    target_c: float
    margin_k: float
    plan_tells: bool
    useful_k: float = 6.0  # its thermostat leaves a store alone that is hardly colder


@dataclass(frozen=True, eq=False)
class PlanAsked:
    """What the room asks for: when it is cooled, and sensible heat taken out [kWh a quarter]."""

    cooled: Flags  # the store must be cold enough for it
    sensible_kwh: Array
    latent_kwh: Array  # what condenses besides
    room_c: Array  # nodes of the air as it then is


def ask(
    model: Reduced,
    ahead: Ahead,
    aim: Aim,
    depth: tuple[float, float],
    store_c: Array,
    spent_c: float = np.inf,
) -> PlanAsked:
    """Follow the room forward: cooled as late as keeps it below the limit.

    Where the week plan tells when the room is cooled, its thermostat holds the target on days on
    which the room would pass the limit; the others are left to what cold there is.

    ``depth`` is how far air and mass are colder than without a store, now [K]; ``store_c`` the
    temperature of the store at each node, for the coil's reach. From ``spent_c`` on a store gives
    nothing; without it, what is asked is asked of whatever store there is.
    """
    count = ahead.quarters
    cooled = np.zeros(count, np.bool_)
    heat, latent = np.zeros(count), np.zeros(count)
    drier = 0.0  # than without a store, kg/kg
    stays = float(np.exp(-model.fresh_kg_h * QUARTER_H / model.moisture_kg))
    room_c = np.empty(count + 1)
    held = np.array(depth)
    air_c = ahead.air_c
    aimed_c = max(aim.limit_c - aim.margin_k, aim.target_c)
    room_c[0] = air_c[0] - held[0]
    hot = _hot_spells(air_c, ahead.wanted, aimed_c)
    for k in range(count):
        then = model.after @ held
        end_c = air_c[k + 1] - then[0]
        if ahead.wanted[k]:
            mean_c = 0.5 * (air_c[k] + air_c[k + 1]) - float(model.mean @ held)
            over_k = mean_c - store_c[k]
            if aim.plan_tells:
                cooled[k] = max(room_c[k], end_c) > aimed_c
            else:
                cooled[k] = hot[k]
            gives = cooled[k] or (not aim.plan_tells and over_k > aim.useful_k)
            if gives and store_c[k] < spent_c:
                want_kwh = (end_c - aim.target_c) / model.by_kw[0] * QUARTER_H
                reach_kw = model.reach_kw_k * over_k / (1.0 + model.reach_kw_k * model.mean_by_kw)
                heat[k] = max(0.0, min(want_kwh, reach_kw * QUARTER_H))
                then = then + model.by_kw * heat[k] / QUARTER_H
                humidity = float(ahead.humidity[k]) - drier
                share = model.latent_share(float(mean_c), humidity, float(store_c[k]))
                latent[k] = min(share * heat[k], MOST_LATENT * heat[k])
                drier += latent[k] * KG_PER_KWH / model.moisture_kg
        drier *= stays
        held = then
        room_c[k + 1] = air_c[k + 1] - held[0]
    return PlanAsked(cooled, heat, latent, room_c)


def _hot_spells(air_c: Array, wanted: Flags, limit_c: float) -> Flags:
    """Return the quarter hours of those wanted spells that pass the limit without a store."""
    hot = np.zeros(len(wanted), np.bool_)
    for first, behind in spells(wanted):
        hot[first:behind] = float(air_c[first : behind + 1].max()) > limit_c
    return hot
