"""Makes each day's root when the day is over, and sends it out of the shop."""

import json
import logging
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final, Protocol, runtime_checkable

from steadybead_collector.event_log import event
from steadybead_collector.evidence.keys import signing_key
from steadybead_collector.evidence.roots import Root, RootBook, day_of, day_start
from steadybead_collector.evidence.trail_check import check_trail
from steadybead_collector.evidence.ways import Way
from steadybead_collector.records.audit import AuditTrail
from steadybead_collector.stores.leaves import Leaf
from steadybead_domain.errors import PlainError
from steadybead_domain.evidence.jws import canonical, sign
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Columns
from steadybead_domain.times import DAY, HOUR, format_rfc3339

LOG: Final = logging.getLogger(__name__)
AFTER_MIDNIGHT: Final = 1 * HOUR
LATE_DAYS: Final = 7
EVERY_S: Final = 600.0


@runtime_checkable
class Sealing(Protocol):
    """A readings store whose sealed chunks have leaf hashes."""

    def seal(self, before: int) -> None:
        """Seal every window that ended by `before` now, so that its leaf exists."""

    def leaves(self, start: int, end: int) -> list[Leaf]:
        """List the leaves of the windows in [start, end), by channel, window and part."""

    def sealed(self, channel: ChannelId, start: int, end: int) -> list[tuple[Leaf, Columns]]:
        """Give the sealed chunks that touch [start, end), with their readings."""


class RootKeeper:
    """One thread beside the collector. A pass that fails is told, and tried again.

    With `trail`, each root holds its newest entry, and it is checked once a day.
    """

    def __init__(
        self,
        store: Sealing,
        data_dir: Path,
        site: str,
        ways: Sequence[Way],
        clock: Callable[[], int],
        trail: AuditTrail | None = None,
    ) -> None:
        self._store, self._clock, self._trail = store, clock, trail
        self._data_dir, self._site, self._ways = data_dir, site, ways
        self._book = RootBook(data_dir)
        self._looked = ""
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, name="roots", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, timeout: float = 3.0) -> None:
        """End; a root under way is finished or not begun."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(timeout)

    def look(self) -> list[Root]:
        """Make the roots that are due, once a day; drop what has not left yet. Give the new."""
        now = self._clock()
        newest = day_of(now - DAY - AFTER_MIDNIGHT)
        made: list[Root] = []
        if newest != self._looked:
            first = now - (LATE_DAYS + 1) * DAY - AFTER_MIDNIGHT
            self._store.seal(day_start(newest) + DAY)
            self._check()
            days = [day_of(first + i * DAY) for i in range(LATE_DAYS + 1)]
            made = [root for day in days if (root := self._make(day, now)) is not None]
            self._looked = newest
        self._send_waiting(now)
        return made

    def _make(self, day: str, now: int) -> Root | None:
        start = day_start(day)
        head = None if self._trail is None else self._trail.head()
        return self._book.add(day, self._store.leaves(start, start + DAY), now, head)

    def _check(self) -> None:
        """Tell the log what is wrong with the chain of roots and the audit trail."""
        for fault in self._book.faults():
            LOG.error("daily roots: %s", fault, extra=event("root_broken"))
        if self._trail is not None:
            for fault in check_trail(self._trail, self._book.roots()).faults:
                LOG.error("audit trail: %s", fault, extra=event("trail_broken"))

    def _send_waiting(self, now: int) -> None:
        """Send what has not left yet, on every way; the first that fails ends the pass."""
        for way in self._ways:
            for root in self._book.roots():
                if not self._book.left_by(root, way.name):
                    way.send(f"steadybead-{self._site}-{root.id}.root", self._letter(root), now)
                    self._book.note_left(root, way.name, f"{format_rfc3339(now)} {way.words}")

    def _letter(self, root: Root) -> str:
        """Write what leaves the shop: the root for people, and signed."""
        stated = {
            "site": self._site,
            "root": root.id,
            "leaves": root.leaves,
            "sha256": root.root,
            "made": root.made,
            "file_sha256": root.sha256,
            "previous": root.previous,
            **({} if root.audit is None else {"audit": root.audit}),
        }
        token = sign(canonical(stated), signing_key(self._data_dir))
        return json.dumps({**stated, "signature": token}, indent=1) + "\n"

    def _work(self) -> None:
        while not self._stop.is_set():
            try:
                self.look()
            except (PlainError, OSError) as error:
                LOG.warning("daily root, tried again later: %s", error)
            self._stop.wait(EVERY_S)
