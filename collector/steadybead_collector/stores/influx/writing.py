"""Writing one append: first the row that announces it, then the readings."""

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from steadybead_collector.stores.flat import Flat
from steadybead_collector.stores.influx import lines, questions
from steadybead_collector.stores.influx.faults import RejectedError
from steadybead_collector.stores.influx.refusals import Refuse, refused_lines
from steadybead_collector.stores.influx.server import Server

_AT_ONCE = 25_000  # about 3 MB, well under what servers take in one request


def announce(server: Server, announcement: str, marks: list[str]) -> None:
    """Write the announcement and the marks of stale rollups; StoreError.

    A server that keeps a bucket only for a while refuses marks that are older: then they, and
    their readings, are not needed.
    """
    try:
        server.write("\n".join((announcement, *marks)))
    except RejectedError:
        if not marks:
            raise
        server.write(announcement)


def write_readings(
    server: Server, flat: Flat, position: int, received: int, refuse: Refuse
) -> Flat:
    """Write readings; give those that the server took, the others go to `refuse`. StoreError."""
    rows = lines.reading_lines(flat, position)
    said = ""
    for i in range(0, len(rows), _AT_ONCE):
        try:
            server.write("\n".join(rows[i : i + _AT_ONCE]))
        except RejectedError as error:
            said = error.said
    if not said:
        return flat
    stored = _stored(server, flat, position)
    refuse(list(refused_lines(picked(flat, ~stored), received, said)))
    return picked(flat, stored)


def _stored(server: Server, flat: Flat, position: int) -> npt.NDArray[np.bool_]:
    """Ask which rows of an append are there."""
    found = np.zeros(len(flat), np.bool_)
    for i, name in enumerate(flat.names):
        times = flat.of(i).time
        start, end = int(times[0]), int(times[-1]) + 1
        there = questions.stored_by(server, name, start, end, position)
        found[int(flat.starts[i]) : int(flat.starts[i + 1])] = np.isin(times, there)
    return found


def picked(flat: Flat, mask: npt.NDArray[np.bool_]) -> Flat:
    """Keep the rows of a mask; channels without any are left out."""
    counts = [int(np.count_nonzero(mask[a:b])) for a, b in pairwise(flat.starts.tolist())]
    names = tuple(name for name, n in zip(flat.names, counts, strict=True) if n)
    starts = np.cumsum([0, *(n for n in counts if n)], dtype=np.int64)
    return Flat(names, starts, flat.rows.take(mask))
