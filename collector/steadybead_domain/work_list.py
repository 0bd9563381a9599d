"""What maintenance has to do, with the day on which each piece is due by the shop's calendar."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from steadybead_domain.calendar import WorkCalendar
from steadybead_domain.calibration.due import CalibrationState, Due
from steadybead_domain.calibration.model import Fitting, Instrument
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.standing import Standing, Urgency
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.times import DAY, HOUR

AHEAD = 90 * DAY
PLANNED = 40 * HOUR  # of working time for what can be planned; project assumption
LONGEST_RUNNING_H = 10_000.0
_SAID = {
    CalibrationState.VALID: "calibration",
    CalibrationState.DUE_SOON: "calibration is due soon",
    CalibrationState.OVERDUE: "calibration is overdue",
    CalibrationState.NEVER_CALIBRATED: "no calibration on record",
}
_FORECASTS = ("filter_forecast", "filter_due")


class WorkKind(StrEnum):
    """What kind of work it is."""

    FILTER = "filter change"
    CALIBRATION = "calibration"
    ELEMENT = "element check"
    CHECK = "check"


@dataclass(frozen=True, slots=True)
class WorkItem:
    """One piece of work. Times are µs; `earliest` and `latest` bound a forecast 4 times in 5.

    `id` stays the same while a forecast moves. `href` is a path of the pages.
    """

    id: str
    kind: WorkKind
    station: StationId
    gun: str | None
    channel: ChannelId | None
    what: str
    to_do: str
    due: int
    earliest: int | None = None
    latest: int | None = None
    href: str = "/maintenance"

    def is_overdue(self, now: int) -> bool:
        """Tell whether it should be done by now."""
        return self.due <= now


@dataclass(frozen=True, slots=True)
class Running:
    """How much a station runs: hours of air for each working hour; 1: all the time."""

    share: float = 1.0

    def working_us(self, running_h: float) -> int:
        """Give the working time (µs) in which so many running hours pass."""
        return round(min(running_h, LONGEST_RUNNING_H) / self.share * HOUR)


def work_list(
    standing: Iterable[Standing],
    calibrations: Iterable[tuple[Instrument, Fitting, Due]],
    running: Mapping[StationId, Running],
    calendar: WorkCalendar,
    now: int,
) -> list[WorkItem]:
    """List what is due now or within 90 days, the earliest first.

    `standing` are the findings that stand. A filter's running hours are told as a day by the
    hours that the station runs of each working hour. A forecast of more than 90 days is left out.
    """
    items = [item for s in standing if (item := _of_finding(s, running, calendar)) is not None]
    items += [item for c in calibrations if (item := _of_calibration(*c, now)) is not None]
    kept = [i for i in items if i.due <= now + AHEAD]
    return sorted(kept, key=lambda i: (i.due, i.id))


def _of_finding(
    standing: Standing, running: Mapping[StationId, Running], calendar: WorkCalendar
) -> WorkItem | None:
    finding = standing.finding
    if finding.kind in _FORECASTS:
        return _filter(standing, running.get(finding.station, Running()), calendar)
    if finding.kind in ("filter_limit", "filter_blocked"):
        return _item(standing, WorkKind.FILTER, finding.since, _filter_id(finding))
    if standing.urgency is Urgency.KNOW:
        return None
    element = finding.kind.startswith("element_")
    kind = WorkKind.ELEMENT if element else WorkKind.CHECK
    if standing.urgency is Urgency.PLAN:
        return _item(standing, kind, calendar.after(finding.time, PLANNED))
    return _item(standing, kind, calendar.opens(finding.time))


def _filter(standing: Standing, running: Running, calendar: WorkCalendar) -> WorkItem | None:
    finding = standing.finding
    numbers = dict(finding.evidence)
    known = [numbers.get(name) for name in ("remaining_h", "low_h", "high_h")]
    hours = [max(float(h), 0.0) for h in known if isinstance(h, int | float)]
    if len(hours) != 3:
        return None
    due, earliest, latest = (_day(calendar, finding.time, running.working_us(h)) for h in hours)
    return WorkItem(
        _filter_id(finding),
        WorkKind.FILTER,
        finding.station,
        None,
        finding.channel,
        f"intake filter: about {hours[0]:.0f} running hours left",
        "Have a filter at hand; change it with the blower stopped and the guns cold, and record it",
        due,
        earliest,
        latest,
        f"/maintenance#{standing.id}",
    )


def _filter_id(finding: Finding) -> str:
    return f"filter-{finding.station.site}-{finding.station.station}"


def _day(calendar: WorkCalendar, start: int, working: int) -> int:
    """Give when so much working time has passed; a date far beyond any list where it never does."""
    try:
        return calendar.after(start, working)
    except ValueError:
        return start + 40 * AHEAD


def _item(standing: Standing, kind: WorkKind, due: int, name: str = "") -> WorkItem:
    finding = standing.finding
    return WorkItem(
        name or standing.id,
        kind,
        finding.station,
        finding.gun,
        finding.channel,
        finding.words,
        finding.next_step,
        due,
        href=f"/maintenance#{standing.id}",
    )


def _of_calibration(
    instrument: Instrument, fitting: Fitting, judged: Due, now: int
) -> WorkItem | None:
    when = judged.due
    if when is None:
        wanted = instrument.interval_days is not None
        if judged.state is not CalibrationState.NEVER_CALIBRATED or not wanted:
            return None
        when = min(fitting.start, now)
    channel = fitting.channel
    return WorkItem(
        f"calibration-{instrument.id}",
        WorkKind.CALIBRATION,
        channel.station_id,
        channel.gun,
        channel,
        f"instrument {instrument.serial} ({instrument.kind}): {_SAID[judged.state]}",
        "Have it calibrated, and enter the certificate",
        when,
        href=f"/sensors/{channel}",
    )
