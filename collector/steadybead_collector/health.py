"""The pulse of a collector that serves no page: a small file, and the check of it.

`python -m steadybead_collector.health DATA` ends with 0 if the collector of that data folder
works and is subscribed, else with 1 and one line.
"""

import json
import sys
from collections.abc import Sequence
from pathlib import Path

from steadybead_collector.clock import wall_clock
from steadybead_domain.times import SECOND

FILE_NAME = "pulse.json"
EVERY = 5 * SECOND
TOO_OLD = 30 * SECOND


class Pulse:
    """Writes how the collector is doing, every few seconds."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE_NAME
        self._written = 0

    def due(self, now: int) -> bool:
        """Tell whether it is time to write again."""
        return not 0 <= now - self._written < EVERY

    def beat(self, now: int, *, subscribed: bool, fault: str) -> None:
        """Write; a disk that refuses shows as a pulse that stops."""
        self._written = now
        fresh = self._path.with_suffix(".new")
        try:
            fresh.write_text(json.dumps({"time": now, "subscribed": subscribed, "fault": fault}))
            fresh.replace(self._path)
        except OSError:
            return


def ailment(folder: Path, now: int) -> str:
    """Say why the collector of a data folder is not well; empty if it is."""
    try:
        told = json.loads((folder / FILE_NAME).read_text("utf-8"))
        age_s = (now - int(told["time"])) / SECOND
        subscribed, fault = bool(told["subscribed"]), str(told["fault"])
    except (OSError, ValueError, KeyError, TypeError):
        return f"no collector has run in {folder}"
    if age_s > TOO_OLD / SECOND:
        return f"the collector's last pulse is {age_s:.0f} s old"
    return "" if subscribed else fault or "the broker has not granted the subscription"


def main(words: Sequence[str]) -> int:
    """Check one data folder."""
    if len(words) != 1:
        sys.stderr.write("name the data folder of one collector\n")
        return 2
    said = ailment(Path(words[0]), wall_clock())
    if said:
        sys.stderr.write(f"{said}\n")
    return 1 if said else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
