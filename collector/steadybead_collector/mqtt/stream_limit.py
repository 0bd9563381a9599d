"""Keeps the embedded broker's message stream below its disk limit.

A broker whose whole store is full cannot even let the collector in to drain it. So the stream of
messages gets a limit of its own, below that of the store, and refuses what is new when it is full:
publishers get no acknowledgement and keep their messages, and the collector can drain.
"""

import json
import socket
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from io import BufferedRWPair

_STREAM = "$MQTT_msgs"
_INBOX = "_INBOX.steadybead"


def limit_stream(host: str, port: int, max_bytes: int, timeout_s: float = 3.0) -> bool:
    """Set the limit over the broker's own protocol; False if the broker did not accept it."""
    try:
        with socket.create_connection((host, port), timeout_s) as connection:
            connection.settimeout(timeout_s)
            with connection.makefile("rwb") as link:
                return _limit(link, max_bytes)
    except (OSError, ValueError):
        return False


def _limit(link: "BufferedRWPair[Any, Any]", max_bytes: int) -> bool:
    link.readline()
    link.write(b'CONNECT {"verbose":false,"lang":"python","version":"1"}\r\n')
    link.write(f"SUB {_INBOX} 1\r\n".encode())
    config = _request(link, f"$JS.API.STREAM.INFO.{_STREAM}", b"").get("config")
    if config is None:
        return False
    if config.get("max_bytes") == max_bytes and config.get("discard") == "new":
        return True
    changed = {**config, "max_bytes": max_bytes, "discard": "new"}
    answer = _request(link, f"$JS.API.STREAM.UPDATE.{_STREAM}", json.dumps(changed).encode())
    return "error" not in answer


def _request(link: "BufferedRWPair[Any, Any]", subject: str, payload: bytes) -> dict[str, Any]:
    link.write(f"PUB {subject} {_INBOX} {len(payload)}\r\n".encode() + payload + b"\r\n")
    link.flush()
    while line := link.readline():
        if line.startswith(b"MSG "):
            size = int(line.split()[-1])
            answer = json.loads(link.read(size + 2))
            return answer if isinstance(answer, dict) else {}
        if line.startswith(b"PING"):
            link.write(b"PONG\r\n")
            link.flush()
    return {}
