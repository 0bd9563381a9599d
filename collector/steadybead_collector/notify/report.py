"""What `check` says of the receivers of notices, without their addresses."""

from collections.abc import Iterator, Sequence

from steadybead_collector.config.notify import NotifyTarget
from steadybead_domain.alarms.receivers import Hours
from steadybead_domain.errors import PlainError
from steadybead_domain.times import MINUTE

_HOURS = {
    Hours.ALWAYS: "at any hour",
    Hours.WORKING: "in working hours",
    Hours.OUTSIDE: "outside working hours",
}


def receiver_lines(targets: Sequence[NotifyTarget]) -> Iterator[str]:
    """Write a line for each receiver; say where an address is missing."""
    for target in targets:
        fault = missing_address(target)
        word = "no address" if fault else "receiver"
        yield f"{word.ljust(10)} {target.receiver.name}  {fault or _words(target)}"


def missing_address(target: NotifyTarget) -> str:
    """Say what is missing; empty where nothing is."""
    if target.folder is None:
        try:
            target.address()
        except (PlainError, OSError) as error:
            return str(error)
    return ""


def _words(target: NotifyTarget) -> str:
    receiver = target.receiver
    parts = [
        target.way,
        "for " + ", ".join(sorted(receiver.roles)),
        f"{receiver.least.value} priority and above",
        _HOURS[receiver.hours],
    ]
    if receiver.stations:
        parts.append("at " + ", ".join(sorted(receiver.stations)))
    if receiver.after:
        parts.append(f"once nobody has acknowledged for {receiver.after // MINUTE} min")
    if receiver.repeat is not None:
        parts.append(f"again every {receiver.repeat // MINUTE} min")
    return "; ".join(parts)
