"""The words of a notice: short enough for a telephone, complete enough to act on."""

import datetime as dt
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from steadybead_domain.alarms.model import Alarm
from steadybead_domain.alarms.receivers import Receiver
from steadybead_domain.times import EPOCH, HOUR, MINUTE

CAUTION = (
    "This notice watches only: it is no safety device, and it never says that a gun is safe to"
    " touch. Local codes and licensed practice come first."
)
Line = tuple[Alarm, str, int]
"""An alarm, its station as people call it, and how often it was told before."""


def subject_of(lines: Sequence[Line], site: str) -> str:
    """Write the subject: the gravest alarm, and how many there are besides."""
    alarm, place, before = lines[0]
    more = f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""
    again = "again: " if before else ""
    priority = alarm.raised.priority.value
    return f"[{site}] {again}{priority}: {place}: {alarm.raised.what}{more}"


def body_of(lines: Sequence[Line], receiver: Receiver, site: str, zone: str, now: int) -> str:
    """Write the body, an alarm after the other, the gravest first."""
    parts = [_paragraph(line, receiver, zone, now) for line in lines]
    sent = f"{site}, {local(now, zone)}"
    return "\n\n".join([*parts, sent, CAUTION]) + "\n"


def _paragraph(line: Line, receiver: Receiver, zone: str, now: int) -> str:
    alarm, place, before = line
    fact = alarm.raised
    rows = [
        f"{fact.priority.value.upper()}  {place}: {fact.what}",
        f"Since: {local(fact.time, zone)}{_how(alarm, receiver, before, now)}",
    ]
    if fact.value is not None and fact.limit is not None:
        unit = "°C" if fact.unit == "Cel" else fact.unit
        rows.append(f"Value against limit: {fact.value:.4g} {unit} against {fact.limit:.4g} {unit}")
    rows += [
        f"Likely cause: {fact.cause}",
        f"What to do: {fact.to_do}",
        f"Who must act: {fact.for_whom}",
    ]
    if receiver.pages:
        rows.append(f"Page: {receiver.pages.rstrip('/')}/alarms/{fact.alarm}")
    return "\n".join(rows)


def _how(alarm: Alarm, receiver: Receiver, before: int, now: int) -> str:
    if not alarm.active:
        return ", its cause has gone since"
    if before:
        return f", told {before} time{'s' if before > 1 else ''} before"
    if receiver.after:
        return f"; nobody has acknowledged it for {span(now - alarm.last_raised)}"
    return ""


def span(length: int) -> str:
    """Write a length of time (µs) in whole minutes or hours."""
    return f"{length // HOUR} h" if length >= 2 * HOUR else f"{max(length, 0) // MINUTE} min"


def local(time: int, zone: str) -> str:
    """Write a time in the site's zone, with the zone's own short name."""
    there = (EPOCH + dt.timedelta(microseconds=time)).astimezone(ZoneInfo(zone))
    return there.strftime("%Y-%m-%d %H:%M:%S %Z")
