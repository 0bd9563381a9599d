"""Verdicts of finished welds are kept beside the records, so that a search finds them."""

import json
import logging
import threading
from typing import Final

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.verdict import weld_verdict
from steadybead_collector.records.welds import VerdictNote, WeldSearch
from steadybead_domain.ports import StoreError
from steadybead_domain.times import SECOND
from steadybead_domain.verdict.codec import verdict_json
from steadybead_domain.verdict.model import Verdict
from steadybead_domain.welds import Weld

SETTLED: Final = 90 * SECOND  # readings of the end may still be on their way
AT_ONCE: Final = 20
PAUSE_S: Final = 3.0
_log = logging.getLogger(__name__)


def keep_verdict(services: Services, weld: Weld, verdict: Verdict) -> bool:
    """Keep the verdict of a weld that is over and settled; False if it is not, or not new."""
    now = services.clock()
    if weld.stop is None or now < weld.stop + SETTLED:
        return False
    content = verdict_json(verdict)
    excursions = sum(len(j.excursions) + j.excursions_left_out for j in verdict.judgements)
    note = VerdictNote(weld.id, now, verdict.conclusion.value, excursions, content)
    newest = services.records.welds.newest_verdict(weld.id)
    words = services.records.welds.verdict_words([weld.id]).get(weld.id)
    if newest is not None and words == (note.word, note.excursions) and _same(newest, note):
        return False  # read before it is written: a page that is only looked at writes nothing
    return services.records.welds.note_verdict(note)


def judge_waiting(services: Services, at_most: int = AT_ONCE) -> int:
    """Judge finished welds that have no verdict yet, the newest first; give their number."""
    before = services.clock() - SETTLED
    search = WeldSearch(is_open=False, verdict="", stopped_before=before)
    waiting = services.records.welds.page(search, at_most).items
    measuring = Measuring(services) if waiting else None
    for weld in waiting:
        keep_verdict(services, weld, weld_verdict(services, weld, measuring))
    return len(waiting)


class VerdictKeeper:
    """Judges what waits, in a thread of its own; `close` ends it."""

    def __init__(self, services: Services) -> None:
        self._services = services
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, name="verdicts", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def close(self) -> None:
        """End; idempotent."""
        self._ended.set()
        if self._thread.is_alive():
            self._thread.join(2.0)

    def _run(self) -> None:
        while not self._ended.wait(PAUSE_S):
            try:
                judge_waiting(self._services)
            except StoreError as error:
                _log.warning("verdicts wait: %s", error)


def _same(newest: VerdictNote, note: VerdictNote) -> bool:
    return newest.word == note.word and newest.content == json.loads(json.dumps(note.content))
