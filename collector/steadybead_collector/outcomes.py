"""What can become of a message or a record: one word each, with its remedy."""

from enum import StrEnum


class Outcome(StrEnum):
    """The words that stand in quarantine, in counters and in `check`. Never rename one."""

    ACCEPTED = "accepted"
    DUPLICATE = "duplicate"
    MALFORMED = "malformed"
    TOO_BIG = "too_big"
    VERSION = "version"
    MUST_UNDERSTAND = "must_understand"
    NAME = "name"
    UNKNOWN_STATION = "unknown_station"
    UNKNOWN_CHANNEL = "unknown_channel"
    NO_VALUE = "no_value"
    NOT_A_NUMBER = "not_a_number"
    NOT_FINITE = "not_finite"
    UNIT = "unit"
    TIME = "time"
    CONFLICT = "conflict"
    POINTER = "pointer"
    WELD = "weld"
    NO_OPEN_WELD = "no_open_weld"
    TOPIC = "topic"
    STORE = "store"
    INTERNAL = "internal"

    @property
    def remedy(self) -> str:
        """Give what the sender's owner can do about it; empty where nothing is wrong."""
        return _REMEDIES[self]

    @property
    def refused(self) -> bool:
        """Tell whether it sends the message or record to quarantine."""
        return self not in {Outcome.ACCEPTED, Outcome.DUPLICATE}


_REMEDIES = {
    Outcome.ACCEPTED: "",
    Outcome.DUPLICATE: "",
    Outcome.MALFORMED: "send a SenML pack (RFC 8428): a JSON or CBOR array of records",
    Outcome.TOO_BIG: "send packs of at most 1 MiB; split long series",
    Outcome.VERSION: "send SenML version 10 (leave bver out)",
    Outcome.MUST_UNDERSTAND: "leave out fields whose label ends in _; they are not understood here",
    Outcome.NAME: "name records like gun-a/nozzle; SenML allows A-Z a-z 0-9 - : . / _",
    Outcome.UNKNOWN_STATION: "add the station to the plant file, or correct the topic",
    Outcome.UNKNOWN_CHANNEL: "add the channel to the plant file, or correct the record's name",
    Outcome.NO_VALUE: "give each record a value v; sums alone are not kept",
    Outcome.NOT_A_NUMBER: "send the value as a number in v",
    Outcome.NOT_FINITE: "send no NaN and no infinity; leave the record out while there is no value",
    Outcome.UNIT: "send the unit of the plant file, another of the same kind, or none",
    Outcome.TIME: "set the sender's clock; relative times reach from 1 day back to 5 s ahead",
    Outcome.CONFLICT: "send one value for each channel and time; the first one is kept",
    Outcome.POINTER: "correct the pointer in the plant file, or send a number where it points",
    Outcome.WELD: 'send {"event": "start" or "stop", "gun": "a", "time": "2026-05-04T07:30:00Z"}',
    Outcome.NO_OPEN_WELD: "send the start first, or name the record to stop in weld",
    Outcome.TOPIC: "publish under the topics of the contract; check [mqtt] topics",
    Outcome.STORE: "see what the readings server said; often its bucket keeps readings too briefly",
    Outcome.INTERNAL: "a fault of ours: please report it with the payload kept here",
}
