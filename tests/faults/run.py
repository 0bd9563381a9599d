"""Every fault, tried and counted: `python tests/faults/run.py [family …] [--times N] [--short]`.

Prints a table; `--json FILE` keeps the figures and `--readme FILE` puts the table, with the rows
of earlier runs that FILE of `--json` still holds, between the marks of that file. The exit code is
1 if anything of ours is missing or doubled.
"""

import argparse
import fcntl
import importlib
import json
import subprocess
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent)]

if TYPE_CHECKING:
    from faults.table import Row

Family = Callable[[int, int], "list[Row]"]
# family: module, function, how often in full, how often in short (0: left out)
FAMILIES: dict[str, tuple[str, str, int, int]] = {
    "kill-collector": ("family_kills", "kill_collector", 50, 2),
    "kill-api": ("family_api", "kill_api", 50, 0),
    "kill-broker": ("family_kills", "kill_broker", 50, 2),
    "kill-all": ("family_kills", "kill_all", 50, 2),
    "kill-influx": ("family_kills", "kill_influx", 50, 0),
    "kill-postgres": ("family_kills", "kill_postgres", 50, 0),
    "kill-server-collector": ("family_kills", "kill_servers_collector", 50, 0),
    "slow-store": ("family_outages", "slow_store", 20, 0),
    "two-collectors": ("family_outages", "two_with_one_identity", 20, 0),
    "disk-full": ("family_disk", "disk_full", 20, 0),
    "disk-full-embedded": ("family_disk", "disk_full_embedded", 20, 0),
    "read-only": ("family_disk", "read_only", 20, 0),
    "power-cut-disk": ("family_disk", "power_cut_disk", 50, 0),
    "clock-steps": ("family_clock", "clock_steps", 30, 0),
    "burst": ("family_load", "burst", 1, 0),
    "flood": ("family_load", "flood", 10, 0),
    "devices": ("family_devices", "devices", 10, 1),
    "soak": ("family_soak", "soak", 72, 0),
    "broker-away": ("family_outages", "broker_away", 10, 0),
    "store-away": ("family_outages", "store_away", 10, 0),
    "records-away": ("family_outages", "records_away", 10, 0),
    "power-cut": ("family_power", "power_cut", 300, 20),
    "kill-foreign": ("family_kills", "kill_foreign", 50, 0),
}


def load_family(name: str) -> Family:
    module, function, _, _ = FAMILIES[name]
    found: Family = getattr(importlib.import_module(f"faults.{module}"), function)
    return found


def kept(path: Path | None) -> "list[Row]":
    """Give the rows of earlier runs."""
    from faults.table import from_json  # noqa: PLC0415

    text = path.read_text("utf-8") if path is not None and path.exists() else ""
    return from_json(json.loads(text)["rows"]) if text else []


def keep(path: Path, rows: "list[Row]") -> None:
    report = {"rows": [row.as_json() for row in rows]}
    path.write_text(json.dumps(report, indent=1) + "\n", "utf-8")


def add(path: Path, rows: "list[Row]") -> None:
    """Put rows to those that stand; several runs may do so at a time."""
    with path.open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        keep(path, merged(kept(path), rows))


def merged(old: "list[Row]", new: "list[Row]") -> "list[Row]":
    """Let new rows take the place of older ones of their family, in the order of FAMILIES."""
    fresh = {row.family for row in new}
    order = list(FAMILIES)
    rows = [row for row in old if row.family not in fresh and row.family in FAMILIES] + new
    return sorted(rows, key=lambda row: order.index(row.family))


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="family", help=", ".join(FAMILIES))
    parser.add_argument("--times", type=int, help="how often (default: the family's own)")
    parser.add_argument("--seed", type=int, default=int(time.time()), help="of the moments")
    parser.add_argument("--short", action="store_true", help="a few tries of the quick families")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--readme", type=Path)
    words = parser.parse_args()
    if unknown := set(words.names) - set(FAMILIES):
        parser.error(f"no family {min(unknown)}: there are {', '.join(FAMILIES)}")
    return words


def commit() -> str:
    """Name what is tried; nothing outside a repository."""
    words = ("git", "-C", str(HERE), "rev-parse", "--short", "HEAD")
    told = subprocess.run(words, capture_output=True, text=True, check=False)
    return told.stdout.strip()


def tried(name: str, times: int, seed: int) -> "list[Row]":
    """Run one family; what cannot be run says so and leaves the others alone."""
    began, tree = time.monotonic(), commit()
    try:
        rows = load_family(name)(times, seed)
    except KeyboardInterrupt:
        raise
    except BaseException:  # noqa: BLE001  an awaited condition that does not come is one, too
        traceback.print_exc()
        sys.stderr.write(f"{name}: could not be run to its end\n")
        return []
    sys.stderr.write(f"{name}: {time.monotonic() - began:.0f} s\n")
    for row in rows:
        row.commit = tree
    return rows


def main() -> int:
    """Run the families named, or all."""
    from faults.table import put_into, table  # noqa: PLC0415

    words = arguments()
    rows: list[Row] = []
    ended = True
    for name in words.names or FAMILIES:
        _, _, full, short = FAMILIES[name]
        times = words.times or (short if words.short else full)
        if times:
            found = tried(name, times, words.seed)
            ended = ended and bool(found)
            rows += found
            if words.json:
                add(words.json, found)
    sys.stdout.write(table(rows))
    if words.readme:
        put_into(words.readme, table(merged(kept(words.json), rows)))
    return 0 if ended and all(row.clean for row in rows if row.ours) else 1


if __name__ == "__main__":
    sys.exit(main())
