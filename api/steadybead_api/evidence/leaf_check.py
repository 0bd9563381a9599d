"""Whether the raw readings in an evidence file are those that the daily roots were made over."""

from collections.abc import Iterator
from typing import Any

from steadybead_api.evidence.table import UNSEALED, read_groups
from steadybead_collector.stores.leaves import leaf_hash
from steadybead_domain.evidence.merkle import PathError, root_of_path
from steadybead_domain.times import format_rfc3339

READINGS = "attachment readings.csv"


def faults(readings: bytes, manifest: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Give what does not fit: (part, what is wrong)."""
    tree = manifest["tree"]
    listed = {(e["channel"], e["start"], e["part"]): e for e in tree["leaves"]}
    roots = {a["id"]: a for a in tree["roots"]}
    for group in read_groups(readings):
        if group.part == UNSEALED:
            continue
        start = format_rfc3339(group.start)
        entry = listed.pop((str(group.channel), start, group.part), None)
        where = f"{group.channel} from {start}"
        if entry is None:
            yield READINGS, f"{where}: readings that no leaf stands for"
            continue
        leaf = leaf_hash(group.channel, group.start, group.part, group.rows)
        if leaf.hex() != entry["sha256"]:
            yield READINGS, f"{where}: changed in the store after it was sealed"
            continue
        yield from _root_faults(entry, leaf, roots, where)
    for (channel, start, _), entry in listed.items():
        if not entry["forgotten"]:
            yield READINGS, f"{channel} from {start}: its readings are missing"


def facts(manifest: dict[str, Any]) -> list[str]:
    """Say what the file states, for whoever checks it."""
    tree = manifest["tree"]
    place = f"{manifest['station']} gun {manifest['gun']}"
    lines = [
        f"weld {manifest['weld']} at {place}, exported {manifest['exported']}",
        f"verdict on heat and air: {manifest['verdict']['verdict']}",
        f"claim: {manifest['claim']}",
    ]
    for root in tree["roots"]:
        left = f", left the shop {root['left_shop']}" if root["left_shop"] else ""
        lines.append(f"daily root {root['id']}: {root['root']}{left}")
    return lines


def _root_faults(
    entry: dict[str, Any], leaf: bytes, roots: dict[str, Any], where: str
) -> Iterator[tuple[str, str]]:
    if entry["root"] is None:
        return
    root = roots[entry["root"]]
    path = [bytes.fromhex(text) for text in entry["path"]]
    try:
        found = root_of_path(leaf, entry["place"], root["leaves"], path).hex()
    except PathError as error:
        found = str(error)
    if found != root["root"]:
        yield READINGS, f"{where}: does not belong to the daily root {root['id']}"
