"""The last step of a notice: by Apprise to mail, chat or webhook, or as a file into a folder."""

import logging
import os
import re
import tempfile
import threading
import warnings
from email.message import EmailMessage
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol
from urllib.parse import unquote, urlsplit

from steadybead_collector.config.notify import NotifyTarget
from steadybead_domain.alarms.notices import Notice

if TYPE_CHECKING:
    from types import ModuleType

LONGEST_DETAIL = 200
_LOADING = threading.Lock()
_LIBRARY = logging.getLogger("apprise")


class DeliveryError(Exception):
    """A receiver did not take a notice; the message says why and holds no secret."""


class Sender(Protocol):
    """Takes one notice to one receiver."""

    def send(self, notice: Notice) -> None:
        """Deliver it within a bounded time; raise DeliveryError."""


class AppriseSender:
    """Sends to one Apprise address."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._service = _service(address)

    def send(self, notice: Notice) -> None:
        """Deliver it; raise DeliveryError."""
        if self._service is None:
            raise DeliveryError("its address is none that can be used")
        heard = _Heard()
        _LIBRARY.addHandler(heard)
        try:
            # The service itself, in this thread: the library's own pool would hold up the end of
            # the process for as long as a receiver hangs.
            taken = self._service.notify(body=notice.body, title=notice.subject)
        finally:
            _LIBRARY.removeHandler(heard)
        if not taken:
            raise DeliveryError(_without_secrets(heard.last, self._address))


class _Heard(logging.Handler):
    """Keeps the last warning that the library gave in this thread."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self._own = threading.get_ident()
        self.last = ""

    def emit(self, record: logging.LogRecord) -> None:
        """Take a record."""
        if record.thread == self._own:
            self.last = record.getMessage()


class FolderSender:
    """Writes each notice as a file of its own, whole or not at all."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def send(self, notice: Notice) -> None:
        """Write the file; raise DeliveryError."""
        message = EmailMessage()
        message["Subject"] = notice.subject
        message["X-Receiver"] = notice.receiver
        message["Message-ID"] = f"<{notice.id}@steadybead>"
        message.set_content(notice.body)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=self._folder, suffix=".part")
            with os.fdopen(handle, "wb") as file:
                file.write(bytes(message))
            Path(name).replace(self._folder / f"{notice.time}-{notice.id}.eml")
        except OSError as error:
            raise DeliveryError(f"folder {self._folder.name}: {error.strerror or error}") from None


def sender_of(target: NotifyTarget, data_dir: Path) -> Sender:
    """Make the sender of a receiver; raise PlainError where its address is missing."""
    if target.folder is not None:
        return FolderSender(data_dir / target.folder)
    return AppriseSender(target.address())


def usable(address: str) -> bool:
    """Tell whether an address is one that Apprise knows how to use."""
    return _service(address) is not None


def _service(address: str) -> Any:
    apprise = _apprise()
    asset = apprise.AppriseAsset(
        app_id="Steadybead",
        app_desc="Steadybead notices",
        app_url="",
        async_mode=False,
        secure_logging=True,
        storage_mode=apprise.PersistentStoreMode.MEMORY,
    )
    return apprise.Apprise.instantiate(address, asset=asset, suppress_exceptions=True)


@cache
def _apprise() -> "ModuleType":
    """Load the library and its services once; some of them use what Python is about to drop."""
    with _LOADING, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import apprise  # noqa: PLC0415  takes a second, and only who notifies needs it

        apprise.Apprise.instantiate("json://localhost")
    _LIBRARY.propagate = False  # what it says may hold an address
    return apprise


def _without_secrets(said: str, address: str) -> str:
    """Give the last line that was said, without any part of the address but its host."""
    line = said.strip().rpartition("\n")[2] or "it did not take the notice"
    host = urlsplit(address).hostname or ""
    parts = {unquote(p) for p in re.split(r"[:/@?&=,]+", address)}
    for part in sorted(parts, key=len, reverse=True):
        if len(part) > 3 and part != host:
            line = line.replace(part, "…")
    return line[:LONGEST_DETAIL]
