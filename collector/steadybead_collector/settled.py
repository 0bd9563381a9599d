"""Remembers, from run to run, up to when everything received has surely been acknowledged."""

from pathlib import Path

_NAME = "acknowledged-until"


class SettledFile:
    """One number in the data folder. Without it nothing is lost: more receipts are believed."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / _NAME
        self._written = 0

    def read(self) -> int:
        """Give the time in µs; 0 if it is not known."""
        try:
            return int(self._path.read_text(encoding="ascii"))
        except (OSError, ValueError):
            return 0

    def write(self, time: int) -> None:
        """Keep the time, if it is another one; a disk that refuses is tried again next time."""
        if time == self._written:
            return
        fresh = self._path.with_suffix(".new")
        try:
            fresh.write_text(f"{time}\n", encoding="ascii")
            fresh.replace(self._path)
        except OSError:  # the older time is as good: more receipts are believed
            return
        self._written = time
