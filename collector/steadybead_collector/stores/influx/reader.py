"""Reading from the server: all that the API needs, in any number of replicas."""

from collections.abc import Iterator, Mapping, Sequence

from steadybead_collector.stores.buckets import Filling
from steadybead_collector.stores.influx import questions
from steadybead_collector.stores.influx.address import InfluxAddress
from steadybead_collector.stores.influx.fill import fill
from steadybead_collector.stores.influx.replay import replay
from steadybead_collector.stores.influx.server import Server
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import Appended, Span, StoreError
from steadybead_domain.readings import Batch, Buckets, Columns, Reading


class InfluxReader:
    """A `ReadingsStore` that only reads; safe to call from several threads."""

    def __init__(self, address: InfluxAddress) -> None:
        self._closed = False
        self._server = Server(address)

    def append(self, batch: Batch) -> Appended:  # noqa: ARG002 — the port's name
        """Raise StoreError: nothing can be written here."""
        raise _read_only()

    def channels(self) -> Sequence[ChannelId]:
        """Name the channels that have readings, or had some that were forgotten."""
        self._check_open()
        found = (name for name, _ in questions.newest(self._server))
        gone = (name for name, _ in questions.last_forgotten(self._server))
        return list(dict.fromkeys((*found, *gone)))

    def latest(self, channels: Sequence[ChannelId]) -> Mapping[ChannelId, Reading]:
        """Give the newest reading of each channel that has one."""
        self._check_open()
        stations = {channel.station_id for channel in channels}
        place = ""
        if len(stations) == 1:
            only = next(iter(stations))
            place = questions.at_stations([only.station], only.site)
        found = dict(questions.newest(self._server, place)) if channels else {}
        return {channel: found[channel] for channel in channels if channel in found}

    def read(self, channel: ChannelId, start: int, end: int) -> Iterator[Columns]:
        """Walk the readings in ascending time, a page at once."""
        self._check_open()
        yield from questions.pages(self._server, channel, start, end)

    def buckets(self, channel: ChannelId, start: int, end: int, points: int) -> Buckets:
        """Summarise [start, end) in at most `points` equal buckets, exactly."""
        self._check_open()
        filling = Filling.over(start, end, points)
        fill(self._server, channel, filling)
        return filling.buckets()

    def since(self, position: int) -> Iterator[tuple[int, Batch]]:
        """Replay what was accepted after `position`, as far as it was not released."""
        self._check_open()
        yield from replay(self._server, position, "")

    def release(self, position: int) -> None:  # noqa: ARG002
        """Raise StoreError: nothing can be written here."""
        raise _read_only()

    def retain(self, before: int, keep: Sequence[Span]) -> int:  # noqa: ARG002
        """Raise StoreError: nothing can be written here."""
        raise _read_only()

    def maintain(self) -> bool:
        """Do nothing: the writer keeps house."""
        return False

    def close(self) -> None:
        """Finish; idempotent."""
        self._closed = True
        self._server.close()

    def _check_open(self) -> None:
        if self._closed:
            raise StoreError("the readings store is closed: open it again")


def _read_only() -> StoreError:
    return StoreError("this process opened the readings for reading only: nothing can be written")
