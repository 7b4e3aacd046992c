"""The coil by hand: water in and out, air in and out, with a dry coil at a known flow."""

from collections.abc import Callable, Mapping

from scipy.optimize import brentq
from springhouse_sim.plant import exchanger, moist_air, water

from .errors import KnownError
from .measuring import BUCKET_SHARE, THERMOMETER_K, Measured, propagate
from .site import Site, coil_sides

AIR_J_M3_K = 1.2 * moist_air.CP_MOIST_J_KG_K  # of the air as the plant has it at 20 °C
LEAST_K = 0.5  # by which water and air must change
RESOLUTION_K = 0.1  # of one thermometer read twice


def coil(
    site: Site, flow_l_min: float, water_in_c: float, water_out_c: float,
    air_in_c: float, air_out_c: float,
) -> list[Measured]:  # fmt: skip
    """Return air flow and dry UA of the coil from four temperatures and the flow.

    Heat by the water's flow; the air's capacity rate from its own change; UA from effectiveness
    and NTU (Kays and London), carried from this flow to the site's rated one by the water film.

    Raises:
        KnownError: when the readings cannot tell it.
    """
    if water_out_c - water_in_c < LEAST_K:
        raise KnownError(
            f"coil: --water-out: {water_out_c:g}: {LEAST_K:g} K or more over --water-in"
        )
    if air_in_c - air_out_c < LEAST_K:
        raise KnownError(f"coil: --air-out: {air_out_c:g}: {LEAST_K:g} K or more under --air-in")
    if air_out_c < water_in_c or air_in_c < water_out_c:
        raise KnownError(
            f"coil: --air-out: {air_out_c:g}: not under the water that enters, and --air-in not "
            "under the water that leaves"
        )
    counter = site.file.coil.arrangement == "counter"
    effectiveness: Callable[[float, float], float] = (
        exchanger.counterflow if counter else exchanger.cross_unmixed
    )
    table = site.file.coil
    air_m3_h, own_w_k = (site.known[f"coil.{key}"].mid for key in ("air_m3_h", "ua_w_k"))
    air_share = coil_sides.air_share(table, air_m3_h, own_w_k)

    def rates_w_k(r: Mapping[str, float]) -> tuple[float, float]:
        middle_c = 0.5 * (r["water_in"] + r["water_out"])
        kg_s = r["flow"] / 60000.0 * water.density_kg_m3(middle_c)
        water_w_k = kg_s * water.heat_capacity_j_kg_k(middle_c)
        heat_w = water_w_k * (r["water_out"] - r["water_in"])
        return water_w_k, heat_w / (r["air_in"] - r["air_out"])

    def ua_w_k(r: Mapping[str, float]) -> float:
        water_w_k, air_w_k = rates_w_k(r)
        low, high = sorted((water_w_k, air_w_k))
        heat_w = water_w_k * (r["water_out"] - r["water_in"])
        share = heat_w / (low * (r["air_in"] - r["water_in"]))
        most = effectiveness(30.0, low / high)
        if not 0.0 < share < most:
            raise KnownError(
                f"coil: the heat is {100.0 * share:.0f} % of what these temperatures allow: below "
                f"{100.0 * most:.0f} %; read them again, coil dry, all at rest"
            )
        ntu = float(brentq(lambda n: effectiveness(n, low / high) - share, 1e-6, 30.0))
        film = coil_sides.water_film_w_m2_k(table, r["flow"])
        rated = coil_sides.water_film_w_m2_k(table, table.rated_l_min)
        return ntu * low * (air_share + (1.0 - air_share) * rated / film)

    readings = {
        "flow": (flow_l_min, BUCKET_SHARE * flow_l_min),
        "water_in": (water_in_c, RESOLUTION_K),
        "water_out": (water_out_c, RESOLUTION_K),
        "air_in": (air_in_c, THERMOMETER_K),
        "air_out": (air_out_c, THERMOMETER_K),
    }
    ua, ua_error = propagate(ua_w_k, readings)
    air, air_error = propagate(lambda r: 3600.0 * rates_w_k(r)[1] / AIR_J_M3_K, readings)
    how = (
        f"{flow_l_min:g} L/min from {water_in_c:g} to {water_out_c:g} °C, "
        f"air from {air_in_c:g} to {air_out_c:g} °C"
    )
    return [
        Measured("coil.ua_w_k", "W/K", ua, ua_error, how),
        Measured("coil.air_m3_h", "m3/h", air, air_error, how),
    ]
