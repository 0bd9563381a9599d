"""The notifier that a plant file asks for."""

from collections.abc import Callable
from pathlib import Path

from steadybead_collector.clock import wall_clock
from steadybead_collector.config import PlantFile
from steadybead_collector.notify.notifier import Notifier
from steadybead_collector.notify.senders import sender_of
from steadybead_collector.records.notices import NoticeRecords
from steadybead_domain.alarms.notices import Router


def notifier_of(
    plant_file: PlantFile,
    records: NoticeRecords,
    data_dir: Path,
    clock: Callable[[], int] = wall_clock,
) -> Notifier | None:
    """Make it; None where nobody is to be told. PlainError where an address is missing."""
    if not plant_file.notify:
        return None
    plant = plant_file.plant
    router = Router(
        [target.receiver for target in plant_file.notify],
        plant.calendar,
        plant.name or plant.site,
        {s.id: s.name for s in plant.stations},
    )
    senders = {t.receiver.name: sender_of(t, data_dir) for t in plant_file.notify}
    return Notifier(router, senders, records, clock)
