"""The raw readings behind a record, with the leaves and daily roots that stand for them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from steadybead_api.evidence.table import UNSEALED, Group
from steadybead_collector.evidence.keeper import Sealing
from steadybead_collector.evidence.roots import Root, RootBook, day_of, day_start
from steadybead_collector.stores.leaves import Leaf, leaf_hash
from steadybead_collector.stores.windows import WINDOW
from steadybead_domain.evidence.merkle import Tree
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import ReadingsStore
from steadybead_domain.readings import Columns
from steadybead_domain.times import DAY, format_rfc3339

SINCE_EXPORT: Final = "unchanged since export"


@dataclass(frozen=True, slots=True, eq=False)
class Evidenced:
    """Groups of raw readings, the manifest's account of them, and what does not fit already."""

    groups: tuple[Group, ...]
    account: dict[str, Any]
    claim: str
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Grown:
    """A daily root with the tree that the store gives for it now."""

    root: Root
    tree: Tree
    places: dict[tuple[str, int, int], int]

    @classmethod
    def of(cls, root: Root, leaves: Sequence[Leaf]) -> "_Grown":
        own = root.select(leaves)
        places = {(str(x.channel), x.start, x.part): i for i, x in enumerate(own)}
        return cls(root, Tree([x.sha256 for x in own]), places)


def gather(
    store: ReadingsStore, data_dir: Path, channels: Sequence[ChannelId], start: int, end: int
) -> Evidenced:
    """Collect the readings of channels in [start, end) µs, whole windows where they are sealed."""
    groups: list[Group] = []
    entries: list[dict[str, Any]] = []
    faults: list[str] = []
    grown = list(_grown(store, RootBook(data_dir), start, end))
    for channel in channels:
        sealed = store.sealed(channel, start, end) if isinstance(store, Sealing) else []
        for leaf, rows in sealed:
            groups.append(Group(channel, leaf.start, leaf.part, rows))
            entries.append(_entry(leaf, grown))
            faults += _leaf_faults(leaf, rows)
        groups += _unsealed(store, channel, sealed, start, end)
    faults += [
        f"the leaves in the store no longer give the daily root {g.root.id}"
        for g in grown
        if g.tree.root.hex() != g.root.root
    ]
    account = {
        "hashes": "SHA-256, Merkle tree after RFC 9162, section 2.1; leaves: sealed chunks",
        "leaves": entries,
        "roots": [_root(g.root) for g in grown],
        "unsealed": sum(len(g.rows) for g in groups if g.part == UNSEALED),
    }
    kept = tuple(g for g in groups if len(g.rows))
    return Evidenced(kept, account, _claim(kept, entries, grown, faults), tuple(faults))


def _grown(store: ReadingsStore, book: RootBook, start: int, end: int) -> Iterator[_Grown]:
    if not isinstance(store, Sealing):
        return
    day = start // WINDOW * WINDOW // DAY * DAY
    while day < end:
        roots = book.roots(day_of(day))
        leaves = store.leaves(day_start(day_of(day)), day + DAY) if roots else []
        yield from (_Grown.of(root, leaves) for root in roots)
        day += DAY


def _entry(leaf: Leaf, grown: Sequence[_Grown]) -> dict[str, Any]:
    key = (str(leaf.channel), leaf.start, leaf.part)
    found = next((g for g in grown if key in g.places), None)
    place = None if found is None else found.places[key]
    path = [] if found is None or place is None else found.tree.path(place)
    return {
        "channel": str(leaf.channel),
        "start": format_rfc3339(leaf.start),
        "part": leaf.part,
        "count": leaf.count,
        "sha256": leaf.sha256.hex(),
        "forgotten": not leaf.kept,
        "root": None if found is None else found.root.id,
        "place": place,
        "path": [h.hex() for h in path],
    }


def _leaf_faults(leaf: Leaf, rows: Columns) -> list[str]:
    if not leaf.kept or leaf_hash(leaf.channel, leaf.start, leaf.part, rows) == leaf.sha256:
        return []
    return [f"{leaf.channel} from {format_rfc3339(leaf.start)}: changed after it was sealed"]


def _unsealed(
    store: ReadingsStore,
    channel: ChannelId,
    sealed: Sequence[tuple[Leaf, Columns]],
    start: int,
    end: int,
) -> list[Group]:
    """Give what no chunk holds yet, window by window."""
    rows = Columns.concat(store.read(channel, start, end))
    held = np.concatenate([np.empty(0, np.int64), *(r.time for _, r in sealed)])
    rest = rows.take(~np.isin(rows.time, held))
    windows = rest.time // WINDOW
    return [
        Group(channel, int(w) * WINDOW, UNSEALED, rest.take(windows == w))
        for w in np.unique(windows)
    ]


def _root(root: Root) -> dict[str, Any]:
    return {
        "id": root.id,
        "root": root.root,
        "leaves": root.leaves,
        "made": root.made,
        "file_sha256": root.sha256,
        "previous": root.previous,
        "left_shop": root.left or None,
    }


def _claim(
    groups: Sequence[Group],
    entries: Sequence[dict[str, Any]],
    grown: Sequence[_Grown],
    faults: Sequence[str],
) -> str:
    if faults:
        return f"{SINCE_EXPORT}; the store itself was changed before: see the faults"
    left = {g.root.id: g.root.left for g in grown}
    whole = all(g.part != UNSEALED for g in groups)
    if not entries or not whole or not all(left.get(e["root"] or "") for e in entries):
        return SINCE_EXPORT
    return (
        "unchanged since the daily roots left the shop, if they are the ones received outside: "
        + "; ".join(f"{name}, {how}" for name, how in sorted(left.items()))
    )
