"""Work ahead in a thread, so that five minutes of many stations do not hold up the present."""

import queue
import threading
from collections.abc import Iterator
from types import TracebackType
from typing import Generic, Self, TypeVar

T = TypeVar("T")
MOST_AHEAD = 4_000
_PATIENCE_S = 0.1


class Ahead(Generic[T]):
    """Iterates over a source that a thread of its own reads, at most `MOST_AHEAD` items ahead.

    An error of the source is raised where it is iterated; setting `stop` ends the iteration. A
    context manager: leaving it ends the thread.
    """

    def __init__(self, source: Iterator[T], stop: threading.Event) -> None:
        self._source, self._stop = source, stop
        self._queue: queue.Queue[T | None] = queue.Queue(MOST_AHEAD)
        self._closed = threading.Event()
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._read, name="simulator-ahead", daemon=True)

    def __enter__(self) -> Self:
        """Start."""
        self._thread.start()
        return self

    def _read(self) -> None:
        try:
            for item in self._source:
                if not self._put(item):
                    return
        except BaseException as error:  # noqa: BLE001  # raised again by __iter__
            self._error = error
        self._put(None)

    def _put(self, item: T | None) -> bool:
        while not self._closed.is_set():
            try:
                self._queue.put(item, timeout=_PATIENCE_S)
            except queue.Full:
                continue
            return True
        return False

    def __iter__(self) -> Iterator[T]:
        """Walk what the thread has read, until `stop` is set."""
        while not self._stop.is_set():
            try:
                item = self._queue.get(timeout=_PATIENCE_S)
            except queue.Empty:
                continue
            if item is None:
                break
            yield item
        if self._error is not None:
            raise self._error

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the thread."""
        self._closed.set()
        self._thread.join(2.0)  # it may be deep in its source; a daemon, it holds nobody up
