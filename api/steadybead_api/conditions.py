"""What must hold before a server is ready: the collector here or elsewhere, and the disk."""

import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from steadybead_api.notice_metrics import receivers_condition
from steadybead_api.services import Condition
from steadybead_collector import health
from steadybead_collector.collector import CollectorStatus
from steadybead_collector.notify.notifier import ReceiverStatus
from steadybead_collector.records.store import Records
from steadybead_domain.ports import StoreError

DISK_SHARE: Final = 0.05  # of a small disk; of a large one, the megabytes that are set count


def collector_conditions(
    status: CollectorStatus, receivers: Sequence[ReceiverStatus] | None
) -> Iterator[Condition]:
    """Give what a collector of this process says; `receivers` None: nobody is to be told."""
    yield Condition("collector subscribed", status.subscribed, status.last_error)
    yield Condition("readings store", status.store_ok, status.last_error)
    if receivers is not None:
        yield receivers_condition(receivers)


def collector_elsewhere(data_dir: Path, records: Records, now: int) -> Iterator[Condition]:
    """Tell whether a collector of another process is silent, where anything can be known of it.

    It leaves a pulse in its data folder, and on a server of records it renews its claims.
    """
    if (data_dir / health.FILE_NAME).exists():
        said = health.ailment(data_dir, now)
        yield Condition("collector", not said, said)
        return
    try:
        until = records.claims.newest()
    except StoreError:
        return  # told by the condition of the records
    if until is not None:
        silent = until <= now
        said = "no collector renews its claims: is one running?" if silent else ""
        yield Condition("collector", not silent, said)


def disk_condition(folder: Path, low_mb: int) -> Condition:
    """Tell whether there is room left where the data are."""
    try:
        usage = shutil.disk_usage(folder)
    except OSError as error:
        return Condition("disk", False, f"the data folder cannot be asked: {error.strerror}")
    least = min(low_mb * 10**6, int(usage.total * DISK_SHARE))
    if usage.free >= least:
        return Condition("disk", True)
    free, wanted = usage.free / 10**6, least / 10**6
    text = f"{free:.0f} MB are free where the data are, {wanted:.0f} MB should be: make room"
    return Condition("disk", False, text)
