"""In the demo, a filter that a visitor enters as changed becomes new in the simulated shop too.

Only the demo has this: the product watches stations and never acts on one.
"""

import contextlib
import threading
from collections.abc import Callable
from typing import Final

from steadybead_collector.records.store import Records
from steadybead_domain.maintenance import FilterChange, FilterWork
from steadybead_domain.ports import StoreError

EVERY_S: Final = 0.5
STOP_WITHIN_S: Final = 3.0
# what leaves with the work, in % of the dust; how much a knock takes out is invented
TAKEN_OUT: Final = {FilterWork.CHANGED: 100.0, FilterWork.TAPPED_OUT: 60.0}
Tell = Callable[[str, int, float], None]


class FilterNews:
    """Follows the entries of the records; `tell` gets station, time in µs and % of the dust."""

    def __init__(self, records: Records, tell: Tell, clock: Callable[[], int]) -> None:
        self._records, self._tell, self._clock = records, tell, clock
        self._position = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._follow, name="demo-filters", daemon=True)
        self._pass_over()

    def _pass_over(self) -> None:
        """Leave alone what was entered before this run."""
        known = None
        while known != self._position:
            known = self._position
            self._new()

    def start(self) -> None:
        """Begin to look for entries."""
        self._thread.start()

    def look(self) -> None:
        """Tell of the entries since the last look. The work is done now, whenever it was dated."""
        for change in self._new():
            taken = TAKEN_OUT.get(change.kind)
            if taken is not None:
                self._tell(change.station.station, self._clock(), taken)

    def _new(self) -> list[FilterChange]:
        before = self._position
        self._position, changes = self._records.changes_since(before)
        return [c for c in changes if isinstance(c, FilterChange)]

    def _follow(self) -> None:
        while not self._stop.wait(EVERY_S):
            with contextlib.suppress(StoreError):  # busy or gone: the next look finds the same
                self.look()

    def stop(self) -> None:
        """End; idempotent."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(STOP_WITHIN_S)
