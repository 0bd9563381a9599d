"""What work on a filter has changed: the pressure drop before and after, from the readings."""

from collections.abc import Iterable
from statistics import fmean

from steadybead_api.services import Services
from steadybead_domain.diagnosis.filter_watch import LEAST_FLOW_L_MIN
from steadybead_domain.ids import ChannelId
from steadybead_domain.maintenance import Drop, FilterChange
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import HOUR, MINUTE

REACH = 12 * HOUR
MINUTES = 10
FEWEST = 3


def effect(
    services: Services, change: FilterChange, others: Iterable[FilterChange] = ()
) -> tuple[Drop | None, Drop | None]:
    """Give the drop before and after; None where too few minutes of running are known.

    `others`: work on filters that bounds what belongs to this one.
    """
    station = services.plant().station(change.station)
    if station is None:
        return None, None
    own = [c.time for c in others if c.station == change.station and c.id != change.id]
    since = max([change.time - REACH, *(t for t in own if t < change.time)])
    until = min([change.time + REACH, services.clock(), *(t for t in own if t > change.time)])
    before = _running(services, station, since, change.time)[-MINUTES:]
    after = _running(services, station, change.time, until)[:MINUTES]
    return _mean(before), _mean(after)


def drop_now(
    services: Services, station: Station, changed: FilterChange | None = None
) -> Drop | None:
    """Give the drop of the last ten minutes of running within half a day, or of fewer.

    `changed`: the last work on the filter; minutes before it tell nothing of what is in now.
    """
    now = services.clock()
    since = max(now - REACH, 0 if changed is None else changed.time)
    return _mean(_running(services, station, since, now)[-MINUTES:], fewest=1)


def _running(
    services: Services, station: Station, start: int, end: int
) -> list[tuple[float, float | None]]:
    """Give drop and flow of each minute in which air went, in order."""
    channel = station.channel_of(Quantity.FILTER_PRESSURE_DROP)
    points = (end - start) // MINUTE
    if channel is None or points < 1:
        return []
    end = start + points * MINUTE
    flows = [
        _minutes(services, c.id, start, end, points)
        for gun in station.guns
        if (c := station.channel_of(Quantity.AIR_FLOW, gun)) is not None
    ]
    found: list[tuple[float, float | None]] = []
    for minute, drop in _minutes(services, channel.id, start, end, points).items():
        if not flows:
            found.append((drop, None))
            continue
        flow = sum(known.get(minute, 0.0) for known in flows)
        if flow >= LEAST_FLOW_L_MIN:
            found.append((drop, flow))
    return found


def _minutes(
    services: Services, channel: ChannelId, start: int, end: int, points: int
) -> dict[int, float]:
    buckets = services.readings.buckets(channel, start, end, points)
    rows = zip(buckets.start.tolist(), buckets.n.tolist(), buckets.mean.tolist(), strict=True)
    return {at: mean for at, n, mean in rows if n}


def _mean(rows: list[tuple[float, float | None]], fewest: int = FEWEST) -> Drop | None:
    if len(rows) < fewest:
        return None
    flows = [flow for _, flow in rows if flow is not None]
    return Drop(fmean(drop for drop, _ in rows), fmean(flows) if flows else None)
