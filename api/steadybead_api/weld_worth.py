"""What the means of a weld record are worth: nozzle temperature and air flow, with their U."""

import contextlib

from steadybead_api.figures import Figures
from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.worth import WITH_BUDGET, Near, Valuer
from steadybead_dashboards.weld import MeanWorth
from steadybead_domain.ids import ChannelId
from steadybead_domain.times import SECOND
from steadybead_domain.welds import Weld


def weld_worths(services: Services, weld: Weld) -> dict[str, MeanWorth]:
    """Give by channel what the mean between start and stop is worth; a running record ends now."""
    stop = services.clock() if weld.stop is None else weld.stop
    station = services.plant().station(weld.station)
    if station is None or stop <= weld.start:
        return {}
    near = mean_between(services.readings, weld.start, stop)
    measuring = Measuring(services)
    valuer = Valuer(services, measuring)
    found = {}
    for quantity in WITH_BUDGET:
        channel = station.channel_of(quantity, weld.gun)
        mean = None if channel is None else near(channel.id)
        if channel is None or mean is None:
            continue
        if measuring.line(channel.id).edges(weld.start, stop):
            continue  # two corrections hold within the record: one mean has no one worth
        with contextlib.suppress(ValueError):  # the plant file contradicts itself
            worth = valuer.value(channel, stop, mean, near).worth
            budget = worth.budget.over((stop - weld.start) / SECOND)
            found[str(channel.id)] = MeanWorth(
                worth.best, budget.expanded, budget.factor, worth.correction is not None
            )
    return found


def mean_between(source: Figures, start: int, end: int) -> Near:
    """Look for the mean of a channel's values that are not bad in [start, end)."""

    def mean(channel: ChannelId) -> float | None:
        found = source.buckets(channel, start, max(end, start + 1), 1)
        return float(found.mean[0]) if len(found) and found.n[0] else None

    return mean
