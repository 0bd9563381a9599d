"""What a channel waits for: the topic and the name under which its readings would come."""

from dataclasses import dataclass

from steadybead_domain.plant import Channel


@dataclass(frozen=True, slots=True)
class Expected:
    """Where a reading would come from: a SenML name, or a pointer into a foreign JSON payload."""

    topic: str
    name: str
    pointer: str | None


def expected(channel: Channel, root: str) -> Expected:
    """Tell what the collector listens for; `root` is what all topics of stations begin with."""
    source = channel.source
    if source is not None:
        return Expected(source.topic, channel.id.channel, source.pointer)
    return Expected(f"{root}/{channel.id.station_id}/senml", channel.id.channel, None)
