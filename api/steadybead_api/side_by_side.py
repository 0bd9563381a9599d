"""The trace of a weld as one table: a row for each time, a column for each channel.

A spreadsheet wants one row a moment; channels are sampled at moments of their own. Each column
takes the channel's newest reading at or before the row's time, no older than the channel may be
silent. Bad readings are left out, so that a hole stays a hole.
"""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from steadybead_api.export import safe_cell
from steadybead_domain.plant import Channel
from steadybead_domain.readings import Columns, Quality

if TYPE_CHECKING:
    import pandas as pd

MOST_ROWS = 200_000
TIME = "time"


def heading(channel: Channel) -> str:
    """Name a column: the channel within its station, and its unit."""
    return str(safe_cell(f"{channel.id.channel} [{channel.unit}]"))


def side_by_side(traces: Sequence[tuple[Channel, Columns]]) -> "pd.DataFrame":
    """Give the table, in ascending times of the channel with the most readings.

    `time` is datetime64[us, UTC]; every other column is float64, NaN where nothing is known.
    """
    import pandas as pd  # noqa: PLC0415  half of a server's start would go into it

    lead = max((rows for _, rows in traces), key=len, default=Columns.empty())
    table = pd.DataFrame({TIME: lead.time})
    for channel, rows in traces:
        sound = rows.take(rows.quality < Quality.BAD)
        own = pd.DataFrame({TIME: sound.time, heading(channel): sound.value})
        silence_us = int(channel.silence_s * 1e6)
        table = pd.merge_asof(table, own, on=TIME, direction="backward", tolerance=silence_us)
    table[TIME] = pd.to_datetime(table[TIME], unit="us", utc=True)
    return table


def csv_of(table: "pd.DataFrame") -> bytes:
    """Write CSV (RFC 4180): times in RFC 3339, decimals as they are kept, holes empty."""
    shown = table.assign(**{TIME: table[TIME].dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ")})
    return shown.to_csv(index=False, lineterminator="\r\n").encode()


def joined(parts: Iterable[Columns]) -> Columns:
    """Join what a store gave in parts; ValueError above MOST_ROWS readings."""
    kept: list[Columns] = []
    count = 0
    for part in parts:
        count += len(part)
        if count > MOST_ROWS:
            raise ValueError(
                f"more than {MOST_ROWS:,} readings of one channel: take the trace in one column"
            )
        kept.append(part)
    return Columns.concat(kept) if kept else Columns.empty()
