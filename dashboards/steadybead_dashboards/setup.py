"""The set-up page: what is heard of each channel, what is refused and why, a plant file checked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar, Final

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.expected import Expected
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment, span_text
from steadybead_dashboards.words import QUANTITIES, printed
from steadybead_domain.ids import StationId, by_station
from steadybead_domain.plant import Channel, Plant
from steadybead_domain.ports import Refused
from steadybead_domain.readings import Reading
from steadybead_domain.times import MINUTE

COMING: Final = MINUTE  # refused within that: it still goes on
FEW_STATIONS: Final = 4  # so many are shown in full, of more only those that miss something
STATES: Final = {
    "heard": mark("heard"),
    "silent": mark("silent"),
    "never heard": mark("never heard"),
}
OUTCOMES: Final = {
    "malformed": mark("The message cannot be read."),
    "too_big": mark("The message is too large."),
    "version": mark("The pack is of another SenML version."),
    "must_understand": mark("The pack has a field that must be understood and is not known here."),
    "name": mark("The record has no name that can be."),
    "unknown_station": mark("The plant file knows no such station."),
    "unknown_channel": mark("The plant file knows no such channel."),
    "no_value": mark("The record has no value."),
    "not_a_number": mark("The value is no number."),
    "not_finite": mark("The value is infinite or too large."),
    "unit": mark("The unit does not fit the channel."),
    "time": mark("The time of the reading cannot be right."),
    "conflict": mark("There is another value for the same channel and time already."),
    "pointer": mark("There is no number where the pointer of the plant file leads."),
    "weld": mark("The start or stop of a weld record cannot be read."),
    "no_open_weld": mark("The stop names no weld record that runs."),
    "topic": mark("Nothing belongs on this topic."),
    "store": mark("The readings store did not take it."),
    "internal": mark("A fault of Steadybead itself."),
}


@dataclass(frozen=True, slots=True)
class ChannelFacts:
    """What is known of a channel: its newest reading, its rate, its state, a hint at its wiring.

    `expected`: what its readings would come as, for a channel that was never heard.
    """

    channel: Channel
    reading: Reading | None
    per_second: float | None
    state: str
    hint: str
    expected: Expected | None = None


@dataclass(frozen=True, slots=True)
class RefusalFacts:
    """Refusals of one topic for one reason; times in µs. `newest` is the latest of them."""

    id: int
    newest: Refused
    count: int
    last_received: int


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """A channel in words. `raw` and `value` are printed with their units."""

    key: str
    href: str
    name: str
    label: str
    state: str
    word: str
    raw: str
    value: str
    quality: str
    reason: str
    rate: str
    last: Moment | None
    age: str
    hint: str
    expected: Expected | None


@dataclass(frozen=True, slots=True)
class StationBlock:
    """A station with its channels; `ahead` is its clock's offset, empty where none is known."""

    id: str
    name: str
    heard: int
    rows: tuple[ChannelRow, ...]
    ahead: str
    behind: str
    is_open: bool


@dataclass(frozen=True, slots=True)
class RefusalRow:
    """One reason in words, with an example of what came."""

    key: str
    reason: str
    topic: str
    detail: str
    remedy: str
    count: int
    last: Moment
    ago: str
    coming: bool
    payload: str


@dataclass(frozen=True, slots=True)
class LostLink:
    """The broker is gone: since when, where it should be, and what it said when it refused."""

    since: Moment
    address: str
    refusal: str


@dataclass(frozen=True, slots=True)
class SetupPage:
    """All of it; `most_kib` bounds what the checker takes, `lost` is None while there is a link."""

    template: ClassVar[str] = "setup.html"
    shell: Shell
    heard: int
    channels: int
    stations: tuple[StationBlock, ...]
    refusals: tuple[RefusalRow, ...]
    version: int
    sha256: str
    most_kib: int
    lost: LostLink | None = None


def setup_page(
    plant: Plant,
    channels: Sequence[ChannelFacts],
    clocks: Mapping[StationId, float | None],
    refusals: Sequence[RefusalFacts],
    shell: Shell,
    most_kib: int,
    lost: LostLink | None = None,
) -> SetupPage:
    """Build the page; `clocks` say by how many seconds a station's clock is ahead, if known."""
    of_station = by_station(channels, lambda c: c.channel.id)
    stations = tuple(
        _block(
            str(station.id),
            station.name or station.id.station,
            of_station.get(station.id, []),
            clocks.get(station.id),
            shell,
            in_full=len(plant.stations) <= FEW_STATIONS,
        )
        for station in plant.stations
    )
    return SetupPage(
        shell,
        sum(s.heard for s in stations),
        len(channels),
        stations,
        tuple(_refusal(r, shell) for r in refusals),
        plant.version,
        plant.sha256[:12],
        most_kib,
        lost,
    )


def _block(
    place: str,
    name: str,
    own: Sequence[ChannelFacts],
    ahead_s: float | None,
    shell: Shell,
    *,
    in_full: bool,
) -> StationBlock:
    heard = sum(c.state == "heard" for c in own)
    off = "" if ahead_s is None else f"{abs(ahead_s):.1f} s"
    return StationBlock(
        place,
        name,
        heard,
        tuple(_row(c, shell) for c in own),
        off if ahead_s is not None and ahead_s >= 0.0 else "",
        off if ahead_s is not None and ahead_s < 0.0 else "",
        in_full or heard < len(own),
    )


def _row(facts: ChannelFacts, shell: Shell) -> ChannelRow:
    channel, reading = facts.channel, facts.reading
    words = QUANTITIES[channel.quantity]
    value, raw, quality, reason, last, age = "–", "–", "", "", None, ""
    if reading is not None:
        raw = f"{reading.raw:.6g} {channel.wire_unit}".rstrip(" /")
        if reading.value is not None:
            value = f"{printed(reading.value, channel.quantity)} {words.unit}".rstrip()
        quality, reason = reading.quality.word, reading.reason.text
        last = shell.moment(reading.time)
        age = span_text(shell.now - reading.time)
    return ChannelRow(
        str(channel.id),
        f"/sensors/{channel.id}",
        channel.id.channel,
        words.label,
        facts.state.replace(" ", "-"),
        STATES[facts.state],
        raw.replace("-", "−"),
        value,
        quality,
        reason,
        "–" if facts.per_second is None else f"{facts.per_second:.3g}",
        last,
        age,
        facts.hint,
        facts.expected if reading is None else None,
    )


def _refusal(facts: RefusalFacts, shell: Shell) -> RefusalRow:
    newest = facts.newest
    return RefusalRow(
        str(facts.id),
        OUTCOMES.get(newest.outcome, newest.outcome),
        newest.topic,
        "" if newest.topic in newest.detail else newest.detail,
        newest.remedy,
        facts.count,
        shell.moment(facts.last_received),
        span_text(shell.now - facts.last_received),
        shell.now - facts.last_received <= COMING,
        _readable(newest.payload),
    )


def _readable(payload: bytes) -> str:
    """Show text as text, anything else as its bytes."""
    try:
        text = payload.decode()
    except UnicodeDecodeError:
        return payload[:200].hex(" ")
    return text[:1000] if text.isprintable() else repr(text[:500])
