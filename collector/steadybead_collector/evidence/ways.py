"""The ways on which a daily root leaves the shop: a folder outside, a receiver of notices."""

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from steadybead_collector.config import PlantFile
from steadybead_collector.config.notify import NotifyTarget
from steadybead_collector.notify.senders import DeliveryError, sender_of
from steadybead_domain.alarms.notices import Notice
from steadybead_domain.errors import PlainError


class Way(Protocol):
    """One way out; `name` keeps them apart, `words` say it to a reader of the evidence."""

    name: str
    words: str

    def send(self, title: str, letter: str, time: int) -> None:
        """Send a letter; raise PlainError or OSError if it did not leave."""


class FolderWay:
    """Copies each letter as a file into a folder that should lie outside of the shop."""

    name = "folder"
    words = "by file drop"

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def send(self, title: str, letter: str, time: int) -> None:  # noqa: ARG002  as every way
        """Write the file whole."""
        self._folder.mkdir(parents=True, exist_ok=True)
        path = self._folder / f"{title}.json"
        fresh = path.with_name(f".{path.name}.part")
        try:
            fresh.write_text(letter, "utf-8")
            fresh.replace(path)
        finally:
            fresh.unlink(missing_ok=True)


class NoticeWay:
    """Sends each letter as a message to one of the shop's receivers."""

    name = "message"

    def __init__(self, target: NotifyTarget, data_dir: Path) -> None:
        self._target, self._data_dir = target, data_dir
        self.words = f"by message to {target.receiver.name}"

    def send(self, title: str, letter: str, time: int) -> None:
        """Send it within a bounded time."""
        receiver = self._target.receiver.name
        notice = Notice(title, receiver, time, f"Daily root {title}", letter, ())
        try:
            sender_of(self._target, self._data_dir).send(notice)
        except DeliveryError as error:
            raise PlainError(f"receiver {receiver}: {error}") from None


def ways_of(plant_file: PlantFile, data_dir: Path) -> Sequence[Way]:
    """Give the ways that the plant file names."""
    settings = plant_file.evidence
    ways: list[Way] = []
    if settings.drop_folder is not None:
        ways.append(FolderWay(settings.drop_folder))
    own = (t for t in plant_file.notify if t.receiver.name == settings.receiver)
    return [*ways, *(NoticeWay(target, data_dir) for target in own)]
