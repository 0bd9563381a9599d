"""PUBLISH and PUBACK of MQTT 3.1.1 as octets, for the way that nearly all packets take.

The client library decodes one packet at a time, with a dozen of its own calls each. Here all
messages that stand whole in a piece of what came are read in one go; whatever is not a plain
message of QoS 0 or 1 is left to the library. Layout: MQTT 3.1.1 (OASIS, 2014), 2.2 and 3.3.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

_PUBLISH, _PUBACK = 0x30, b"\x40\x02"
_KIND, _DUP, _QOS, _RETAIN = 0xF0, 0x08, 0x06, 0x01
_MOST_LENGTH_OCTETS = 4


@dataclass(slots=True)
class Arrived:
    """A message as it came; `topic` is "" if it is not UTF-8."""

    topic: str
    payload: bytes
    mid: int
    qos: int
    dup: bool
    retain: bool


def whole_messages(data: bytes, most: int) -> tuple[list[Arrived], int]:
    """Read up to `most` messages from the front of `data`; give them, and how many octets.

    It ends before the first packet that is not whole, is of another kind, or is not in order.
    """
    found: list[Arrived] = []
    at, end = 0, len(data)
    while at + 2 <= end and len(found) < most:
        head = data[at]
        qos = (head & _QOS) >> 1
        if head & _KIND != _PUBLISH or qos > 1:
            break
        length, begin = _length(data, at + 1)
        stop = begin + length
        if length < 2 or stop > end:
            break
        topic_end = begin + 2 + (data[begin] << 8) + data[begin + 1]
        body = topic_end + 2 * qos
        if body > stop or topic_end == begin + 2:
            break
        mid = (data[topic_end] << 8) + data[topic_end + 1] if qos else 0
        topic = text_of(data[begin + 2 : topic_end])
        dup, retain = bool(head & _DUP), bool(head & _RETAIN)
        found.append(Arrived(topic, data[body:stop], mid, qos, dup, retain))
        at = stop
    return found, at


def _length(data: bytes, at: int) -> tuple[int, int]:
    """Read a remaining length; give it and where it ends, -1 if it is not whole or too long."""
    length = 0
    for shift, octet in enumerate(data[at : at + _MOST_LENGTH_OCTETS]):
        length |= (octet & 0x7F) << (7 * shift)
        if octet < 0x80:
            return length, at + shift + 1
    return -1, at


@lru_cache(maxsize=4096)
def text_of(topic: bytes) -> str:
    """Read a topic; "" if it is not UTF-8."""
    try:
        return topic.decode()
    except UnicodeDecodeError:
        return ""


def acknowledgements(mids: Iterable[int]) -> bytes:
    """Write a PUBACK for each packet identifier."""
    return b"".join(_PUBACK + mid.to_bytes(2, "big") for mid in mids)
