"""The readings store of a server set-up: readings on an InfluxDB server, a spool beside us."""

import contextlib
import secrets
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import RLock

from steadybead_collector.stores.flat import Flat, flatten
from steadybead_collector.stores.identity import Sifted, sift
from steadybead_collector.stores.influx import lines, questions, retention
from steadybead_collector.stores.influx.address import InfluxAddress
from steadybead_collector.stores.influx.channels import Channels
from steadybead_collector.stores.influx.faults import RejectedError
from steadybead_collector.stores.influx.identity import Nearby, on_server
from steadybead_collector.stores.influx.joining import MOST_BATCHES, in_a_row, write_row
from steadybead_collector.stores.influx.line import Line
from steadybead_collector.stores.influx.reader import InfluxReader
from steadybead_collector.stores.influx.refusals import Refuse, late_conflicts, refuse_nothing
from steadybead_collector.stores.influx.replay import replay
from steadybead_collector.stores.influx.rollups import Rollups
from steadybead_collector.stores.influx.spool import Spool, Waiting
from steadybead_collector.stores.influx.writing import announce, write_readings
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Plant
from steadybead_domain.ports import Appended, Span, StoreError
from steadybead_domain.readings import Batch, Reading
from steadybead_domain.times import MINUTE, SECOND

SPOOL_BYTES = 2 * 2**30
_TOLD_EVERY = 30 * SECOND
_TRIMMED_EVERY = 10 * MINUTE
_DRAINED_AT_ONCE = 20


@dataclass(slots=True)
class _Progress:
    """How far this producer has come, and how far the server was told of it."""

    position: int
    released: int
    told: int = 0
    told_at: int = -lines.TIME_LIMIT
    trimmed_at: int = -lines.TIME_LIMIT
    can_trim: bool = True
    now: int = 0


class InfluxReadings(InfluxReader):
    """A `ReadingsStore` on a server; the one writer of its stations.

    What the server has confirmed, or else what the spool has synced to disk, is durable. While
    anything waits in the spool, all that comes goes behind it, so the order holds. `refuse` keeps
    a row of every reading that the server will not take. Opening needs the server.
    """

    def __init__(
        self,
        address: InfluxAddress,
        data_dir: Path,
        plant: Plant | None = None,
        refuse: Refuse = refuse_nothing,
        *,
        clock: Callable[[], float] = time.monotonic,
        spool_bytes: int = SPOOL_BYTES,
    ) -> None:
        super().__init__(address)
        self._lock = RLock()
        self._refuse = refuse
        self._line = Line(clock)
        self._place = _place(plant)
        self._progress = _Progress(0, 0)
        try:
            self._server.check()
            self._spool = Spool(data_dir, spool_bytes)
        except BaseException:
            self._server.close()
            raise
        try:
            self._take_up()
        except BaseException:
            self.close()
            raise

    @property
    def fault(self) -> str:
        """Say what is wrong with the server, and how much waits here; empty if all is well."""
        if not self._line.fault and not self._spool.count:
            return ""
        waits = f"{self._spool.size / 2**20:.1f} MiB wait on this machine's disk"
        return f"{self._line.fault or 'the readings server is catching up'}; {waits}"

    def append(self, batch: Batch) -> Appended:
        """Commit durably, to the server or to the spool; ValueError on what no store takes."""
        flat = flatten(batch)
        lines.check_times(flat)
        with self._open():
            self._progress.now = max(self._progress.now, batch.received)
            self._drain()
            if not self._spool.count and self._line.may_try():
                try:
                    appended = self._commit(flat, batch.received, self._next(batch.received))
                except StoreError as error:
                    self._line.fell(str(error))
                else:
                    self._line.holds()
                    return appended
            return self._put_aside(flat, batch.received)

    def channels(self) -> Sequence[ChannelId]:
        """Name the channels that have readings, or had some, at the stations of this writer."""
        with self._open():
            return self._channels.names()

    def latest(self, channels: Sequence[ChannelId]) -> Mapping[ChannelId, Reading]:
        """Give the newest reading of each channel that has one, also while the server is away."""
        with self._open():
            found = {channel: self._channels.reading(channel) for channel in channels}
        return {channel: reading for channel, reading in found.items() if reading is not None}

    def since(self, position: int) -> Iterator[tuple[int, Batch]]:
        """Replay what was accepted after `position`, as far as it was not released."""
        with self._open():
            position = max(position, self._progress.released)
            aside = self._spool.positions()
        for at, batch in replay(self._server, position, self._place):
            if at not in aside:
                yield at, batch
        with self._open():
            waiting = list(self._spool.after(position))
        for item in waiting:
            yield item.position, item.flat.batch(item.received)

    def release(self, position: int) -> None:
        """Say that nobody will ask to replay anything up to `position` again."""
        with self._open():
            progress = self._progress
            progress.released = max(progress.released, min(position, progress.position))

    def retain(self, before: int, keep: Sequence[Span]) -> int:
        """Forget whole 10-minute windows that ended by `before` and touch no kept span."""
        count = 0
        with self._open():
            names = self._channels.names()
        for channel in names:
            with self._open():  # between two channels, appends get their turn
                if self._spool.count:
                    raise StoreError("readings wait for the server: nothing is forgotten now")
                self._rollups.seal(channel, before)
                gone, end = retention.forget(self._server, channel, before, keep)
                count += gone
                if end is not None:
                    self._channels.forgot(channel, end)
        return count

    def maintain(self) -> bool:
        """Do one short piece of housekeeping; True if more waits."""
        with self._open():
            if not self._line.may_try():
                return False
            if self._spool.count:
                self._drain()
                return self._spool.count > 0 and not self._line.fault
            try:
                more = self._tell() or self._rollups.work(self._progress.now)
            except StoreError as error:
                self._line.fell(str(error))
                return False
            self._line.holds()
            return more

    def close(self) -> None:
        """Tell the server how far we came, if it listens; idempotent."""
        with self._lock:
            if self._closed:
                return
            with contextlib.suppress(StoreError):
                if not self._line.fault and self._progress.told < self._progress.released:
                    self._server.write(self._told_line())
            self._spool.close()
            super().close()

    def _take_up(self) -> None:
        """Learn from server and spool where an earlier run left off."""
        server, place = self._server, self._place
        self._producer = self._spool.own("producer", secrets.token_hex(6))
        self._channels = Channels(
            questions.newest(server, place), questions.last_forgotten(server, place)
        )
        self._rollups = Rollups(server, place)
        self._nearby = Nearby()
        known = {name: (at, released) for name, at, released in questions.producers(server)}
        released = known.get(self._producer, (0, 0))[1]
        position = max((at for at, _ in known.values()), default=0)
        self._progress = _Progress(max(position, questions.last_append(server)), released, released)
        for waiting in self._spool.after(-1):
            self._note(waiting.flat, waiting.position, stored=False)

    def _commit(self, flat: Flat, received: int, position: int) -> Appended:
        """Bring a batch to the server; StoreError if it does not take it."""
        newest = self._channels.times(flat.names, stored=True)
        sifted = sift(flat, newest, lambda name, times: on_server(self._server, name, times))
        if len(new := sifted.flat):
            row = lines.append_line(self._producer, position, received, new)
            announce(self._server, row, self._rollups.marks(new))
            self._rollups.touch(new, received)
            new = write_readings(self._server, new, position, received, self._refuse)
            self._note(new, position, stored=True)
        return self._appended(sifted, new, received)

    def _put_aside(self, flat: Flat, received: int) -> Appended:
        """Put into the spool what is not known to be a repeat; the server judges it later."""
        newest = self._channels.times(flat.names, stored=False)
        sifted = sift(
            flat, newest, lambda name, times: self._nearby.known(self._channels.number(name), times)
        )
        if len(new := sifted.flat):
            position = self._next(received)
            self._spool.put(Waiting(position, received, new))
            self._note(new, position, stored=False)
        return self._appended(sifted, new, received)

    def _drain(self) -> None:
        """Bring what waits to the server, in its order: all that is surely new in one request.

        What is not goes one by one, a few at once.
        """
        if not self._spool.count or not self._line.may_try():
            return
        waiting = list(self._spool.after(-1, MOST_BATCHES))
        try:
            row = in_a_row(waiting, self._channels)
            if len(row) > 1 and self._went(row):
                return
            for item in waiting[:_DRAINED_AT_ONCE]:
                self._judge(item)
        except StoreError as error:
            self._line.fell(str(error))

    def _went(self, row: Sequence[Waiting]) -> bool:
        """Bring batches in one request; False where the server refuses a part of it."""
        try:
            write_row(self._server, self._producer, row, self._rollups)
        except RejectedError:
            return False
        self._line.holds()
        for item in row:
            self._note(item.flat, item.position, stored=True)
        self._spool.remove([item.position for item in row])
        return True

    def _judge(self, waiting: Waiting) -> None:
        """Bring one batch, without what the server has and what contradicts it."""
        found = self._commit(waiting.flat, waiting.received, waiting.position)
        if found.conflicts:
            self._refuse(list(late_conflicts(found.conflicts, waiting.received)))
        self._line.holds()
        self._spool.remove([waiting.position])

    def _note(self, flat: Flat, position: int, *, stored: bool) -> None:
        self._channels.see(flat, stored=stored)
        if position > self._progress.position:
            self._nearby.add(position, self._channels.numbers(flat.names), flat)
            self._progress.position = position

    def _appended(self, sifted: Sifted, new: Flat, received: int) -> Appended:
        accepted = new.batch(received)
        conflicts = tuple(sifted.conflicts)
        return Appended(self._progress.position, accepted, sifted.duplicates, conflicts)

    def _next(self, received: int) -> int:
        """Give the next position: about the time of receipt in µs, so that producers compare."""
        return max(self._progress.position + 1, min(received, lines.TIME_LIMIT - 2**40))

    def _tell(self) -> bool:
        """Tell the server what was released, now and then; True if it was done."""
        progress = self._progress
        if progress.told >= progress.released or progress.now - progress.told_at < _TOLD_EVERY:
            return False
        self._server.write(self._told_line())
        progress.told, progress.told_at = progress.released, progress.now
        if progress.can_trim and progress.now - progress.trimmed_at >= _TRIMMED_EVERY:
            progress.trimmed_at = progress.now
            progress.can_trim = retention.trim(self._server, self._producer, progress.released)
        return True

    def _told_line(self) -> str:
        return lines.producer_line(self._producer, self._progress.position, self._progress.released)

    def _open(self) -> RLock:
        self._check_open()
        return self._lock


def _place(plant: Plant | None) -> str:
    if plant is None:
        return ""
    return questions.at_stations((s.id.station for s in plant.stations), plant.site)
