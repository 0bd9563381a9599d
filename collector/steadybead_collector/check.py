"""The command `check`: listens for a while and says what is heard and what is not."""

import contextlib
import secrets
import sys
import tempfile
import time
from collections import Counter, deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from steadybead_collector.clock import wall_clock
from steadybead_collector.config import PlantFile, PlantFileError, load_plant_file
from steadybead_collector.ingest.decode import Decoded
from steadybead_collector.ingest.intake import Intake
from steadybead_collector.ingest.receipts import Receipts
from steadybead_collector.mqtt.address import Address, subscriptions
from steadybead_collector.mqtt.broker import BrokerError, EmbeddedBroker
from steadybead_collector.mqtt.handshake import answers
from steadybead_collector.mqtt.inbox import Inbox, Message
from steadybead_collector.mqtt.subscriber import Subscriber
from steadybead_collector.notify.report import missing_address, receiver_lines
from steadybead_collector.outcomes import Outcome
from steadybead_domain.conversion.wiring import likely_mistake
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel, Plant
from steadybead_domain.readings import Quality, Reading

ALL_HEARD, MISSING, UNREADABLE = 0, 1, 2
_CONNECT_S = 10.0
_LEAST_S = 2.0
_SHOWN_DETAILS = 3
_MOST_COMPLAINTS = 2000
_NEWEST_RAW = 100


@dataclass(slots=True)
class Heard:
    """What was heard so far: the last reading of each channel, and what was refused."""

    plant: Plant
    root: str
    last: dict[ChannelId, Reading] = field(default_factory=dict)
    readings: Counter[ChannelId] = field(default_factory=Counter)
    refused: Counter[Outcome] = field(default_factory=Counter)
    details: dict[Outcome, dict[str, None]] = field(default_factory=dict)
    complaints: set[tuple[str, str]] = field(default_factory=set)
    raw: dict[ChannelId, deque[float]] = field(default_factory=dict)
    _intake: Intake = field(init=False)

    def __post_init__(self) -> None:
        """Take messages in as the collector does, but keep nothing."""
        self._intake = Intake(self.plant, self.root, Receipts())

    def take(self, messages: Sequence[Message]) -> None:
        """Look at messages by the collector's own rules."""
        decoded = self._intake.decode(messages)
        receipts = self._intake.first_receipts(decoded, list)
        taken = self._intake.take_or_none(messages, decoded, receipts)
        for channel, rows in () if taken is None else taken.batch.columns.items():
            self.last[channel] = rows.row(-1)
            self.readings[channel] += len(rows)
            self.raw.setdefault(channel, deque(maxlen=_NEWEST_RAW)).extend(rows.raw.tolist())
        for item in decoded:
            self._note_refusals(item)

    @property
    def missing(self) -> list[Channel]:
        """List the channels that were not heard, in the file's order."""
        return [c for c in self.plant.channels() if c.id not in self.last]

    def lines(self) -> Iterator[str]:
        """Write the report, a line for each channel and each kind of refusal."""
        wide = max(len(str(c.id)) for c in self.plant.channels())
        for channel in self.plant.channels():
            yield self._channel_line(channel, wide)
            raw = np.array(self.raw.get(channel.id, ()), np.float64)
            if hint := likely_mistake(self.plant, channel, raw, self._value):
                yield f"look at    {str(channel.id).ljust(wide)}  {hint}"
        for outcome, count in sorted(self.refused.items()):
            details = "; ".join(list(self.details[outcome])[:_SHOWN_DETAILS])
            yield f"refused    {count} x {outcome}: {details}: {outcome.remedy}"
        found, total = len(self.last), sum(1 for _ in self.plant.channels())
        yield f"{found} of {total} channels heard"

    def _note_refusals(self, item: Decoded) -> None:
        self.refused.update(item.refusals.counts())
        for row in item.refusals.rows():
            known = self.details.setdefault(Outcome(row.outcome), {})
            if len(known) < _SHOWN_DETAILS:
                known[row.detail[:160]] = None
            if len(self.complaints) < _MOST_COMPLAINTS:
                self.complaints.add((row.topic.rpartition("/")[0], row.detail))

    def _channel_line(self, channel: Channel, wide: int) -> str:
        name = str(channel.id).ljust(wide)
        reading = self.last.get(channel.id)
        if reading is None:
            return f"not heard  {name}  {self._where(channel)}"
        value = "no value" if reading.value is None else f"{reading.value:.4g} {channel.unit}"
        raw = f"{reading.raw:.6g} {channel.wire_unit}"
        quality = reading.quality.word + (f", {reading.reason.text}" if reading.reason else "")
        count = self.readings[channel.id]
        return f"heard      {name}  {raw} = {value} ({quality}), {count} readings"

    def _value(self, channel: ChannelId) -> float | None:
        reading = self.last.get(channel)
        return None if reading is None or reading.quality is Quality.BAD else reading.value

    def _where(self, channel: Channel) -> str:
        name, place = channel.id.channel, f"{self.root}/{channel.id.station_id}"
        if any(topic == place and name in detail for topic, detail in self.complaints):
            return "it came, but was refused: see below"
        if channel.source is not None:
            return f"nothing usable on {channel.source.topic} at {channel.source.pointer!r}"
        return f"no record named {name} on {place}/senml"


def check(config: Path, seconds: float = 15.0) -> int:
    """Listen for up to `seconds` and print what is heard; give the exit code.

    0: every channel was heard; 1: something is missing, or the broker cannot be reached; 2: the
    plant file cannot be used. Ends early once everything is heard.
    """
    try:
        plant_file = load_plant_file(config)
    except PlantFileError as error:
        for problem in error.problems:
            sys.stdout.write(f"{problem}\n")
        sys.stderr.write(f"steadybead: {error}\n")
        return UNREADABLE
    for line in receiver_lines(plant_file.notify):
        sys.stdout.write(f"{line}\n")
    heard = Heard(plant_file.plant, plant_file.mqtt.root)
    try:
        with _some_broker(plant_file) as url:
            fault = _listen(plant_file, url, seconds, heard)
    except BrokerError as error:
        fault = str(error)
    if fault:
        sys.stderr.write(f"steadybead: {fault}\n")
        return MISSING
    for line in heard.lines():
        sys.stdout.write(f"{line}\n")
    unknown = any(missing_address(target) for target in plant_file.notify)
    return MISSING if heard.missing or unknown else ALL_HEARD


@contextlib.contextmanager
def _some_broker(plant_file: PlantFile) -> Iterator[str]:
    """Give the url of the file's broker; if nothing listens there, a broker for the while."""
    settings = plant_file.mqtt
    if settings.url is not None:
        yield settings.url
        return
    host, _, port = settings.listen.rpartition(":")
    if int(port) and answers(host.strip("[]"), int(port)):
        yield f"mqtt://{settings.listen}"
        return
    with tempfile.TemporaryDirectory(prefix="steadybead-check-") as folder:
        broker = EmbeddedBroker(Path(folder), settings.listen)
        sys.stdout.write(f"no broker is running: listening on {broker.start()} meanwhile\n")
        sys.stdout.flush()
        try:
            yield broker.url
        finally:
            broker.stop()


def _listen(plant_file: PlantFile, url: str, seconds: float, heard: Heard) -> str:
    """Feed what comes; give a fault, or nothing. The collector's own session is left alone."""
    settings, inbox = plant_file.mqtt, Inbox()
    client_id = "check-" + secrets.token_hex(6)
    filters = subscriptions(plant_file.plant, settings)
    address = Address.of(url, settings)
    subscriber = Subscriber(address, client_id, filters, inbox, wall_clock, keep_session=False)
    subscriber.start()
    try:
        if not subscriber.wait_ready(_CONNECT_S):
            return f"no broker at {address}: {subscriber.last_error or 'no answer'}"
        start = time.monotonic()
        while (passed := time.monotonic() - start) < seconds:
            messages = inbox.take(1000, min(0.2, seconds - passed))
            heard.take(messages)
            subscriber.acknowledge(messages)
            if not heard.missing and passed >= min(_LEAST_S, seconds):
                break
    finally:
        subscriber.stop()
    return ""
