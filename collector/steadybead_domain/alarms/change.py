"""What a detector tells the alarm book."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Change:
    """A condition comes, goes or changes its kind at `time` (µs, from the data).

    `kind` is a key of the catalogue, `gun` and `channel` (without site and station) say where.
    `suppressed`: it was active and can no longer be judged.
    """

    time: int
    kind: str
    active: bool
    gun: str | None = None
    channel: str | None = None
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    suppressed: bool = False
