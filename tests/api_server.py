"""A real HTTP server in this process, and a reader of its event stream."""

import json
import socket
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager
from typing import Any

import anyio
import httpx
import uvicorn
from fastapi import FastAPI


@contextmanager
def served(app: FastAPI, stopping: threading.Event) -> Iterator[str]:
    """Serve on a free port of loopback; give the address; end the streams, then the server."""
    taken = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    taken.bind(("127.0.0.1", 0))
    config = uvicorn.Config(
        app, log_level="error", lifespan="off", ws="none", timeout_graceful_shutdown=2
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [taken]})
    thread.start()
    try:
        yield f"http://127.0.0.1:{taken.getsockname()[1]}"
    finally:
        stopping.set()
        server.should_exit = True
        thread.join(10)
        taken.close()
        assert not thread.is_alive()


class Events:
    """The events of one stream, as (name, data)."""

    def __init__(self, lines: AsyncIterator[str]) -> None:
        self._lines = lines
        self.ids: list[int] = []

    async def next(self) -> tuple[str, Any]:
        """Give the next event; StopAsyncIteration at the end."""
        name, data = "", None
        async for line in self._lines:
            field, _, text = line.partition(": ")
            if field == "id":
                self.ids.append(int(text))
            elif field == "event":
                name = text
            elif field == "data":
                data = json.loads(text)
            elif not line and name:
                return name, data
        raise StopAsyncIteration

    async def until(self, wanted: Callable[[str, Any], bool], seconds: float = 10) -> Any:
        """Read on to an event; give its data."""
        with anyio.fail_after(seconds):
            while True:
                name, data = await self.next()
                if wanted(name, data):
                    return data

    async def rest(self, seconds: float = 10) -> list[tuple[str, Any]]:
        """Read to the end."""
        found = []
        with anyio.fail_after(seconds):
            while True:
                try:
                    found.append(await self.next())
                except StopAsyncIteration:
                    return found


@asynccontextmanager
async def listening(address: str, headers: dict[str, str]) -> AsyncIterator[Events]:
    """Open the live stream."""
    async with (
        httpx.AsyncClient(base_url=address, timeout=10) as client,
        client.stream("GET", "/api/v1/live", headers=headers) as answer,
    ):
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/event-stream")
        yield Events(answer.aiter_lines())
