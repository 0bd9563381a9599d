"""Daily roots: one Merkle root over all chunks of a day, then one for each lot of late data.

Each root is a file that is never changed: `roots/2026-05-04.1.json`. It names its leaves by
channel and part, so that later supplements do not move them; the leaves' hashes stay in the
readings store. Each file holds the hash of the file made before it, and the newest entry of the
audit trail at that time.
"""

import contextlib
import datetime as dt
import hashlib
import json
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import groupby
from pathlib import Path
from typing import Any, Final

from steadybead_collector.records.chain import Head
from steadybead_collector.stores.files import sync_folder
from steadybead_collector.stores.leaves import Leaf
from steadybead_collector.stores.windows import WINDOW, WINDOWS_A_DAY
from steadybead_domain.errors import PlainError
from steadybead_domain.evidence.jws import canonical
from steadybead_domain.evidence.merkle import tree_hash
from steadybead_domain.times import DAY, EPOCH, format_rfc3339

FOLDER: Final = "roots"
FORM: Final = "steadybead root 1"
_NAME: Final = re.compile(r"(\d{4}-\d{2}-\d{2})\.(\d{1,6})\.json")
Members = dict[str, list[list[int]]]


class RootError(PlainError):
    """A root's file that cannot be read."""


@dataclass(frozen=True, slots=True)
class Root:
    """One root. `members` gives for each channel runs of [from part, to part, windows].

    `audit` is the newest entry of the audit trail when it was made, as `entry` and `sha256`; None
    in roots from before the trail was chained. `left` tells when and how it left the shop; empty
    if it has not.
    """

    day: str
    number: int
    made: str
    leaves: int
    root: str
    previous: str | None
    members: Members
    audit: dict[str, Any] | None = None
    sha256: str = ""
    left: str = ""

    @property
    def id(self) -> str:
        """Name the root by its day and number."""
        return f"{self.day}.{self.number}"

    @property
    def start(self) -> int:
        """Give the start of the day in µs."""
        return day_start(self.day)

    @property
    def trail(self) -> Head | None:
        """Give the newest entry of the audit trail when the root was made."""
        return None if self.audit is None else Head(**self.audit)

    def select(self, leaves: Iterable[Leaf]) -> list[Leaf]:
        """Pick the leaves that the root was made over, in their order."""
        spread = {channel: _spread(runs) for channel, runs in self.members.items()}
        start = self.start
        nothing: dict[int, range] = {}
        return [
            x
            for x in leaves
            if x.part in spread.get(str(x.channel), nothing).get((x.start - start) // WINDOW, ())
        ]


def day_start(day: str) -> int:
    """Give the start of a day (UTC) in µs."""
    moment = dt.datetime.fromisoformat(f"{day}T00:00:00+00:00")
    return (moment - EPOCH) // dt.timedelta(microseconds=1)


def day_of(time: int) -> str:
    """Give the day (UTC) of a time."""
    return format_rfc3339(time // DAY * DAY)[:10]


class RootBook:
    """All roots of one data folder. One process adds to it, any number read."""

    def __init__(self, data_dir: Path) -> None:
        self.folder = data_dir / FOLDER

    def roots(self, day: str | None = None) -> list[Root]:
        """List the roots, of a day or of all days, in order; raise RootError."""
        return [self._read(path) for path in self._paths(day)]

    def add(
        self, day: str, leaves: Sequence[Leaf], now: int, trail: Head | None = None
    ) -> Root | None:
        """Make a root over the leaves of a day that no root holds yet; None if all are held.

        `trail` is the newest entry of the audit trail.
        """
        start = day_start(day)
        own = [x for x in leaves if start <= x.start < start + DAY]
        held = _counts(self.roots(day))
        fresh = [x for x in own if x.part >= held.get((str(x.channel), x.start), 0)]
        if not fresh:
            return None
        tips = self._tips()
        content = {
            "form": FORM,
            "day": day,
            "number": len(list(self._paths(day))) + 1,
            "made": format_rfc3339(now),
            "leaves": len(fresh),
            "root": tree_hash([x.sha256 for x in fresh]).hex(),
            "previous": tips[-1].sha256 if tips else None,
            "members": _members(fresh, start),
            **({} if trail is None else {"audit": asdict(trail)}),
        }
        path = self.folder / f"{day}.{content['number']}.json"
        self.folder.mkdir(parents=True, exist_ok=True)
        _write_new(path, canonical(content))
        return self._read(path)

    def faults(self) -> list[str]:
        """Say where the chain of roots is broken: a file changed, gone, or put in."""
        roots = self.roots()
        known = {r.sha256 for r in roots}
        faults = [
            f"root {r.id} follows a root that is not there"
            for r in roots
            if r.previous is not None and r.previous not in known
        ]
        tips = self._tips()
        if len(tips) > 1:
            faults.append(f"no root follows {', '.join(r.id for r in tips[:-1])}")
        return faults

    def _tips(self) -> list[Root]:
        """Give the roots that none follows, the newest last; in a whole chain there is one."""
        roots = self.roots()
        followed = {r.previous for r in roots}
        return sorted((r for r in roots if r.sha256 not in followed), key=lambda r: r.made)

    def note_left(self, root: Root, way: str, how: str) -> None:
        """Keep that a root left the shop on a way; the first time counts."""
        with contextlib.suppress(FileExistsError):
            _write_new(self._left(root.id, way), how.encode())

    def left_by(self, root: Root, way: str) -> bool:
        """Tell whether a root left the shop on a way."""
        return self._left(root.id, way).is_file()

    def _left(self, root: str, way: str) -> Path:
        return self.folder / f"{root}.{way}.left"

    def _paths(self, day: str | None) -> Iterator[Path]:
        if not self.folder.is_dir():
            return
        named = [(m, p) for p in self.folder.iterdir() if (m := _NAME.fullmatch(p.name))]
        for match, path in sorted(named, key=lambda pair: (pair[0][1], int(pair[0][2]))):
            if day is None or match[1] == day:
                yield path

    def _read(self, path: Path) -> Root:
        data = path.read_bytes()
        try:
            content: dict[str, Any] = json.loads(data)
            form = content.pop("form")
            told = sorted(self.folder.glob(f"{path.stem}.*.left"))
            how = "; ".join(way.read_text("utf-8") for way in told)
            root = Root(**content, sha256=hashlib.sha256(data).hexdigest(), left=how)
            _ = root.trail
        except (ValueError, KeyError, TypeError) as error:
            raise RootError(f"{path}: is no root's file ({error}): restore it") from None
        if form != FORM:
            raise RootError(f"{path}: was written by a newer Steadybead: update")
        return root


def _counts(roots: Iterable[Root]) -> dict[tuple[str, int], int]:
    """Count the parts of each channel and window that roots hold."""
    counts: dict[tuple[str, int], int] = {}
    for root in roots:
        for channel, runs in root.members.items():
            for window, parts in _spread(runs).items():
                counts[channel, root.start + window * WINDOW] = parts.stop
    return counts


def _spread(runs: Sequence[Sequence[int]]) -> dict[int, range]:
    found, window = {}, 0
    for first, last, count in runs:
        for _ in range(count):
            if last > first:
                found[window] = range(first, last)
            window += 1
    return found


def _members(leaves: Sequence[Leaf], start: int) -> Members:
    """Write which parts of which windows there are: runs of windows that are alike."""
    members: Members = {}
    for channel, own in groupby(leaves, key=lambda x: str(x.channel)):
        parts = [(0, 0)] * WINDOWS_A_DAY
        for leaf in own:
            window = (leaf.start - start) // WINDOW
            first = parts[window][0] if parts[window][1] else leaf.part
            parts[window] = (first, leaf.part + 1)
        members[channel] = [[*pair, len(list(same))] for pair, same in groupby(parts)]
    return members


def _write_new(path: Path, data: bytes) -> None:
    """Write a file that is not there yet, whole or not at all; FileExistsError."""
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with fresh.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.link(fresh, path)
        sync_folder(path.parent)
    finally:
        fresh.unlink(missing_ok=True)
