"""The log of a server: one line for each event that matters, for people or for programs.

`text` for reading along, `logfmt` and `json` for programs. Whatever a line tells, it stays one
line; no line holds a password, a PIN, a token or the address of a receiver of notices.
"""

import json
import logging
import sys
from typing import TYPE_CHECKING, Any, Final, TextIO

from steadybead_domain.times import format_rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

FORMS: Final[tuple[str, ...]] = ("text", "logfmt", "json")
EVENTS: Final = {
    "started": "a server is up; `address` of its pages, `broker`, `data` folder",
    "stopped": "it ended in order",
    "act": "somebody did something that stands in the audit trail: `what`, `subject`, `actor`",
    "sign_in_failed": "a wrong password, PIN, code or token; `host`, `why`",
    "sign_in_slowed": "too many wrong tries; `host`, `wait_s`",
    "broker_lost": "the connection ended or was refused; it is tried again",
    "broker_dropped": "the broker says that it has dropped messages; `count` more, `total`",
    "broker_ended": "the embedded broker ended by itself; it is started anew",
    "store_fault": "a store does not take what arrives; nothing is acknowledged meanwhile",
    "server_away": "the readings server does not answer; readings wait on this machine's disk",
    "server_back": "it answers again",
    "stations_taken": "another collector has claimed stations of this one",
    "readings_forgotten": "readings older than `days` were forgotten; `count`",
    "refusals_forgotten": "rows of the quarantine older than `days` were forgotten; `count`",
    "root_broken": "the chain of daily roots is not whole",
    "trail_broken": "the audit trail is not what was written",
    "receiver_away": "a receiver of notices did not take one; `receiver`",
    "receiver_back": "it takes notices again; `receiver`",
    "defect": "a fault of ours; `path` of the request where there is one",
}
MESSAGE: Final = "message"
_OURS: Final = ("steadybead_collector", "steadybead_api", "steadybead_domain")


def event(name: str, **fields: Any) -> dict[str, Any]:
    """Give what `extra` of a log call takes: the event's name and its fields."""
    return {"event": name, "fields": fields}


def set_up(form: str, stream: TextIO | None = None) -> logging.Handler:
    """Write the log of this process in a form from now on, to stderr if nothing else is said."""
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(LineFormatter(form))
    root = logging.getLogger()
    root.handlers = [handler]
    root.setLevel(logging.WARNING)
    for name in _OURS:
        logging.getLogger(name).setLevel(logging.INFO)
    return handler


class LineFormatter(logging.Formatter):
    """Writes one record as one line in a form of FORMS."""

    def __init__(self, form: str) -> None:
        super().__init__()
        self._form = form

    def format(self, record: logging.LogRecord) -> str:
        """Give the line, without its end."""
        told = self._told(record)
        if self._form == "json":
            return json.dumps(told, default=str)
        if self._form == "logfmt":
            return " ".join(f"{key}={_logfmt(value)}" for key, value in told.items())
        more = " ".join(f"{k}={_logfmt(v)}" for k, v in told.items() if k not in _SHOWN)
        name = "" if told["event"] == MESSAGE else f"{told['event']}: "
        line = f"{told['time']} {told['level']} {name}{_one_line(str(told['msg']))}"
        return f"{line} {more}" if more else line

    def _told(self, record: logging.LogRecord) -> dict[str, Any]:
        """Gather what a record tells, in the order in which it is written."""
        told: dict[str, Any] = {
            "time": format_rfc3339(int(record.created * 1e6)),
            "level": record.levelname.lower(),
            "event": getattr(record, "event", MESSAGE),
            "logger": record.name,
            "msg": record.getMessage(),
        }
        fields: Mapping[str, Any] = getattr(record, "fields", {})
        told |= {key: value for key, value in fields.items() if key not in told}
        if record.exc_info:
            told["trace"] = self.formatException(record.exc_info)
        return told


_SHOWN: Final = ("time", "level", "event", "logger", "msg")


def _one_line(text: str) -> str:
    """Keep a text in its line, whoever made it up."""
    return "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in text)


def _logfmt(value: Any) -> str:
    text = str(value)
    plain = text and all(c.isprintable() and c not in ' ="\\' for c in text)
    return text if plain else '"' + _one_line(text.replace("\\", r"\\").replace('"', r"\"")) + '"'
