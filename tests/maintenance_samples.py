"""Findings and work on filters for tests."""

from steadybead_domain.diagnosis.finding import Finding, Sureness
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.maintenance import FilterChange, FilterWork
from steadybead_domain.times import SECOND, parse_rfc3339

T0 = parse_rfc3339("2026-05-04T07:30:00Z")
BAY_1 = StationId("north", "bay-1")


def filter_finding(
    kind: str = "filter_forecast",
    at_s: float = 0.0,
    *,
    hours: float | None = 30.0,
    drop_pa: float = 120.0,
    station: StationId = BAY_1,
    since_s: float | None = None,
    start: int = T0,
) -> Finding:
    """Make a finding on a filter: 80 % between 0.7 and 1.4 of the hours left."""
    time = start + int(at_s * SECOND)
    since = time if since_s is None else start + int(since_s * SECOND)
    bounds = (None, None) if hours is None else (0.7 * hours, 1.4 * hours)
    return Finding(
        kind,
        station,
        None,
        ChannelId(station.site, station.station, "air/filter"),
        time,
        since,
        f"drop {drop_pa:.0f} Pa at the usual flow",
        "Plan the change; have a filter at hand.",
        Sureness.LIKELY,
        drop_pa,
        None,
        1.5,
        250.0,
        "Pa",
        (
            ("remaining_h", hours),
            ("low_h", bounds[0]),
            ("high_h", bounds[1]),
            ("growth_per_h", 0.02),
        ),
    )


def drift_finding(
    at_s: float = 0.0,
    kind: str = "thermocouple_drift",
    *,
    station: StationId = BAY_1,
    start: int = T0,
    since_s: float = -3600.0,
) -> Finding:
    """Make a finding on a nozzle's thermocouple, with evidence for and against."""
    return Finding(
        kind,
        station,
        "a",
        ChannelId(station.site, station.station, "gun-a/nozzle"),
        start + int(at_s * SECOND),
        start + int(since_s * SECOND),
        "gun a: the thermocouple reads 5.1 °C low. Seen: nozzle reading over needle probe -5.1 °C.",
        "Hold the needle probe 5 mm inside the nozzle to confirm.",
        Sureness.LIKELY,
        -5.1,
        0.2,
        0.8,
        2.4,
        "Cel",
        (
            (f"share of {kind}", 0.91),
            (f"for {kind}", "nozzle reading over needle probe"),
            (f"against {kind}", None),
        ),
    )


def filter_change(
    name: str = "fc-1", at_s: float = 0.0, work: FilterWork = FilterWork.CHANGED
) -> FilterChange:
    """Make an entry of work on the filter of bay 1."""
    time = T0 + int(at_s * SECOND)
    return FilterChange(BAY_1, time, work, name, "Anna", time, "spare from shelf 3")
