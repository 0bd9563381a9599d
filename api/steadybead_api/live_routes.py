"""`live`: server-sent events.

Events: `live` (a station), `alarm`, `alarm-cleared`, `link` (whether the broker is reached; also
the heartbeat, since a browser does not show comments to a page), and `note` before an end.

A stream begins with everything, so `Last-Event-ID` needs no memory here. Values come at most
ten times a second; changes of state come at once and none is left out. Whoever reads too slowly
is told so and let go; the browser then connects again by itself.
"""

import asyncio
from collections.abc import AsyncIterator
from contextlib import ExitStack
from typing import Any

import orjson
from fastapi import Request
from fastapi.responses import StreamingResponse

from steadybead_api.access import Reader, services_of
from steadybead_api.live_board import LiveSnapshot, TooManyListenersError
from steadybead_api.live_shown import same_state
from steadybead_api.live_subscription import AlarmNews, BrokerNews, News, Subscription
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.services import Services
from steadybead_domain.alarms.codec import alarm_to_json
from steadybead_domain.ids import StationId
from steadybead_domain.live import LiveStation

router = api_router("live")
GATHER_S = 0.02  # what comes within this goes to a page as one piece
LOOK_EVERY_S = 0.5
HEARTBEAT_S = 2.0
RETRY_MS = 2000
SLOW = "this reader was too slow and missed changes; connect again"
ENDING = "the server ends"


@router.get(
    "/live",
    response_class=StreamingResponse,
    responses={200: {"content": {"text/event-stream": {"schema": {"type": "string"}}}}},
    summary="Live state of all stations as server-sent events",
)
async def live(request: Request, _reader: Reader) -> StreamingResponse:
    """Open a stream."""
    services = services_of(request)
    stack = ExitStack()
    try:
        listener = stack.enter_context(services.live.listen())
    except TooManyListenersError:
        raise Problem(503, "listeners", "too many live streams are open: try later") from None
    stream = LiveStream(services, listener)
    return StreamingResponse(
        _closing(stream.events(), stack),
        media_type="text/event-stream",
        headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
    )


async def _closing(events: AsyncIterator[bytes], stack: ExitStack) -> AsyncIterator[bytes]:
    with stack:
        async for event in events:
            yield event


class LiveStream:
    """What one listener is sent."""

    def __init__(self, services: Services, listener: Subscription) -> None:
        self._services = services
        self._listener = listener
        self._sent = dict[StationId, LiveStation]()
        self._number = 0

    async def events(self) -> AsyncIterator[bytes]:
        """Write events until the server ends or the listener is too slow."""
        loop = asyncio.get_running_loop()
        yield f"retry: {RETRY_MS}\n\n".encode()
        yield self._everything(self._snapshot())
        spoke = looked = loop.time()
        while not self._services.stopping.is_set():
            await self._listener.wait(LOOK_EVERY_S)
            if self._listener.overrun:
                yield self._event("note", {"detail": SLOW})
                return
            now = loop.time()
            text = b"".join(self._told(news) for news in self._listener.take())
            if now - looked >= LOOK_EVERY_S:
                text += self._gone_quiet(self._snapshot())
                looked = now
            if not text and now - spoke >= HEARTBEAT_S:
                text = self._told(BrokerNews(self._services.live.reachable))
            if text:
                yield text
                spoke = now
                await asyncio.sleep(GATHER_S)
        yield self._event("note", {"detail": ENDING})

    def _snapshot(self) -> LiveSnapshot:
        return self._services.live.snapshot(self._services.clock())

    def _everything(self, snapshot: LiveSnapshot) -> bytes:
        told: list[News] = [BrokerNews(snapshot.reachable), *snapshot.stations]
        told += [AlarmNews(a.raised.alarm, a) for a in snapshot.alarms]
        return b"".join(self._told(news) for news in told)

    def _gone_quiet(self, snapshot: LiveSnapshot) -> bytes:
        """Tell of stations whose state changed because time passed or the broker went."""
        changed = [
            s
            for s in snapshot.stations
            if s.station not in self._sent or not same_state(s, self._sent[s.station])
        ]
        return b"".join(self._told(s) for s in changed)

    def _told(self, news: News) -> bytes:
        if isinstance(news, LiveStation):
            self._sent[news.station] = news
            return self._event("live", news.to_json())
        if isinstance(news, BrokerNews):
            return self._event("link", {"broker": news.reachable})
        if news.alarm is None:
            return self._event("alarm-cleared", {"alarm": news.id})
        return self._event("alarm", alarm_to_json(news.alarm))

    def _event(self, name: str, data: dict[str, Any]) -> bytes:
        self._number += 1
        parts = (self._number, name.encode(), orjson.dumps(data))
        return b"id: %d\nevent: %b\ndata: %b\n\n" % parts
