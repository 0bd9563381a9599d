"""Octets as a broker sends them: MQTT packets, whole, cut and changed."""

from pathlib import Path
from random import Random

from fuzz import mutate
from fuzz.laws import Target, law
from steadybead_collector.mqtt.packets import whole_messages

MOST = 50
SEEDS = (
    b"\x30\x04\x00\x01t1",
    b"\x32\x06\x00\x01t\x00\x051",
    b"\x3b\x06\x00\x01t\xff\xff1",
    b"\x34\x06\x00\x01t\x00\x051",
    b"\x32\xc8\x01\x00\x17steadybead/v1/n/b/senml\x00\x07" + b"[" * 173,
    b"\x30\x80\x80\x01\x00\x01t" + b"x" * 16_381,
    b"\x30\x05\x00\x02\xff\xfe1",
    b"\xd0\x00",
    b"\x90\x03\x00\x01\x01",
    b"\x40\x02\x00\x01",
)


def packets(_: Path) -> Target:
    """Read plain messages from the front of a stream, and leave the rest alone."""

    def make(draw: Random) -> bytes:
        parts = [draw.choice(SEEDS) for _ in range(draw.randrange(1, 6))]
        if draw.random() < 0.7:
            place = draw.randrange(len(parts))
            parts[place] = mutate.data(draw, (parts[place],))
        return b"".join(parts)

    def feed(data: bytes) -> bool:
        found, length = whole_messages(data, MOST)
        law(0 <= length <= len(data), "more was taken than came")
        law((length > 0) == bool(found), "octets were taken without a message, or the reverse")
        law(len(found) <= MOST, "more messages than asked for")
        law(whole_messages(data[:length], MOST) == (found, length), "a second reading differs")
        law(whole_messages(data[length:], 1)[1] == 0 or len(found) == MOST, "it ended too early")
        law(sum(len(m.payload) for m in found) < length or not found, "a payload is too long")
        law(all(m.qos < 2 and 0 <= m.mid < 65_536 for m in found), "a message is not plain")
        return bool(found)

    return Target("MQTT packets, to messages", make, feed)
