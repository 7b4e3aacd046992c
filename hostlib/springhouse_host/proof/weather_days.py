"""Days of a site's weather, with one clear line where it has none of the kind."""

from collections.abc import Callable

from springhouse_sim.world.days import Days
from springhouse_sim.world.weather import Weather

from ..errors import SiteError
from ..site.site import Site


def days_of(site: Site, choose: Callable[[Weather], Days]) -> Days:
    """Return the days that a function of `springhouse_sim.world.days` chooses.

    Raises:
        SiteError: when the weather cannot be read or holds no such days.
    """
    try:
        return choose(site.read_weather())
    except ValueError as error:
        raise SiteError(f"{site.path}: weather: {error}") from None
