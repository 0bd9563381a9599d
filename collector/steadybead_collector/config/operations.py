"""`[operations]` in the plant file: what the people who run the machine set."""

import math
from dataclasses import dataclass
from typing import Final

from steadybead_collector.config.reader import Table, shown
from steadybead_collector.event_log import FORMS

REFUSAL_DAYS: Final = 400
DISK_LOW_MB: Final = 500


@dataclass(frozen=True, slots=True)
class OperationsSettings:
    """How a server tells how it is doing.

    `health`: host and port on which a collector without pages answers `/healthz`, `/readyz` and
    `/metrics`; None: it does not. `log`: form of the log. `disk_low_mb`: free space below which
    `/readyz` says no. `quarantine_days`: how long refusals are kept after they came last.
    """

    health: tuple[str, int] | None = None
    log: str = "text"
    disk_low_mb: int = DISK_LOW_MB
    quarantine_days: int = REFUSAL_DAYS


def read_operations(table: Table) -> OperationsSettings:
    """Read `[operations]`."""
    table.only(("health", "log", "disk_low_mb", "quarantine_days"))
    return OperationsSettings(
        _place(table),
        table.choice("log", str, FORMS) or "text",
        _whole(table, "disk_low_mb", DISK_LOW_MB),
        _whole(table, "quarantine_days", REFUSAL_DAYS),
    )


def _place(table: Table) -> tuple[str, int] | None:
    text = table.text("health")
    if text is None:
        return None
    host, _, port = text.rpartition(":")
    if not host or not port.isdecimal() or not port.isascii() or int(port) > 65535:
        table.fault("health", f"bad health {shown(text)}", 'write "127.0.0.1:8766"')
        return None
    return host.strip("[]"), int(port)


def _whole(table: Table, key: str, usual: int) -> int:
    number = table.number(key, above=0)
    if math.isnan(number):
        return usual
    if number != int(number):
        table.fault(key, f"{key} is {number:g}", f"write a whole number, {key} = {usual}")
        return usual
    return int(number)
