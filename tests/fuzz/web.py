"""Requests to the application in this process, as any role: by its own description, and raw.

Raw requests are ASGI messages without a client library between, so that bytes go in which no
client would send: in the path, the query, headers, cookies and bodies.
"""

import asyncio
import contextlib
import json
import logging
import re
import secrets
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, unquote

import requests
import schemathesis
from fastapi.routing import iter_route_contexts
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode

from api_shop import NOZZLE, PLANT, Shop, make_shop, mixed, put
from calibration_samples import FITTING, INSTRUMENT, calibration, check
from fuzz import mutate
from fuzz.laws import Judge, Target, law, time_limit
from maintenance_samples import drift_finding, filter_change, filter_finding
from records_samples import CHIEF, T0, fact, refusal, start
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act
from steadybead_domain.diagnosis.standing import finding_id
from steadybead_domain.people import Role
from steadybead_domain.times import DAY

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

FRESH_AFTER = 5000  # requests, so that the records that they leave stay few
_KNOWN = {
    "weld": "w1",
    "alarm": "al1",
    "procedure": "pp-speed-nozzle",
    "site": "north",
    "station": "bay-1",
    "instrument": "tc-7",
    "calibration": "cal-1",
    "check": "check-1",
    "finding": finding_id(drift_finding()),
    "change": "fc-1",
    "plan": "cut-1",
    "number": "1",
}
_PLACE = re.compile(r"\{(\w+)(?::\w+)?\}")


def furnished(folder: Path) -> Shop:
    """Open a shop with one of each record."""
    shop = make_shop(folder)
    shop.board.connected(shop.clock())
    put(shop, NOZZLE, mixed())
    shop.records.add_weld_event(start("w1"))
    shop.records.add_alarm_facts([fact("al1", 0, active=True)])
    act, kept = Act(CHIEF, T0 + DAY, "test"), shop.records.instruments
    nozzle = next(c for c in PLANT.channels() if c.id == NOZZLE)
    kept.keep(INSTRUMENT, act)
    kept.keep_fitting(FittingRecord("f-1", replace(FITTING, start=T0 - DAY)), nozzle, act)
    kept.keep_calibration(calibration(performed=T0, effective=T0), act)
    kept.keep_check(check(time=T0), nozzle, act)
    shop.records.add_findings([drift_finding(), filter_finding()])
    shop.records.filter_changes.keep(filter_change(), act)
    shop.records.quarantine([refusal(b"\xff"), refusal(b"text")])
    return shop


class _Site:
    """A shop that is made anew after some thousand requests, and a way to ask it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._shop: Shop | None = None
        self._asked = 0
        self._loop = asyncio.new_event_loop()
        logging.getLogger("steadybead_api").setLevel(logging.CRITICAL)
        self.renew()

    def renew(self) -> None:
        if self._shop is not None:
            self._shop.close()
        place = self._folder / secrets.token_hex(4)
        place.mkdir()
        self._shop = shop = furnished(place)
        shop.services.stopping.set()  # event streams end at once
        self.app = shop.app
        tokens = [shop.token(role)["Authorization"].encode() for role in Role]
        self.signs: list[list[tuple[bytes, bytes]]] = [[(b"authorization", t)] for t in tokens]
        self.signs += [[], [(b"authorization", tokens[-1])]]
        self.document: dict[str, Any] = shop.app.openapi()

    def close(self) -> None:
        if self._shop is not None:
            self._shop.close()
        self._loop.run_until_complete(self._loop.shutdown_default_executor())
        self._loop.close()

    def refresh(self) -> None:
        """Begin with a fresh shop once in a while; asked between two inputs, not within one."""
        if self._asked >= FRESH_AFTER:
            self._asked = 0
            self.renew()

    def ask(self, asked: "Asked") -> "Answer":
        self._asked += 1
        return self._loop.run_until_complete(answer_of(self.app, asked, self.signs))


class Asked:
    """One request as ASGI gets it; `sign` is the place of a role's headers."""

    def __init__(
        self, method: str, path: bytes, query: bytes, headers: list[Any], body: bytes, sign: int
    ) -> None:
        self.method, self.path, self.query = method, path, query
        self.headers, self.body, self.sign = headers, body, sign

    @property
    def routed(self) -> str:
        """Give the path by which routes are chosen."""
        return unquote(self.path.decode("ascii", "ignore"))

    def __repr__(self) -> str:
        head = f"{self.method} {self.path!r} ?{self.query!r} as {self.sign}"
        return f"{head} {self.headers!r} {self.body[:600]!r}"


class Answer:
    """What came back."""

    def __init__(self) -> None:
        self.status = 0
        self.headers: dict[bytes, bytes] = {}
        self.body = bytearray()


async def answer_of(app: Any, asked: Asked, signs: list[list[Any]]) -> Answer:
    """Send one request; a stream that does not end is left after its first piece."""
    answer, parts = Answer(), [asked.body[i : i + 9000] for i in range(0, len(asked.body), 9000)]
    parts = parts or [b""]
    scope = {
        "type": "http",
        "asgi": {"version": "3.0", "spec_version": "2.3"},
        "http_version": "1.1",
        "method": asked.method,
        "scheme": "http",
        "path": asked.routed,
        "raw_path": asked.path,
        "root_path": "",
        "query_string": asked.query,
        "headers": [*asked.headers, *signs[asked.sign % len(signs)]],
        "client": ("127.0.0.1", 50_000),
        "server": ("localhost", 80),
        "state": {},
    }

    async def receive() -> dict[str, Any]:
        if parts:
            body = parts.pop(0)
            return {"type": "http.request", "body": body, "more_body": bool(parts)}
        await asyncio.sleep(0)
        return {"type": "http.disconnect"}

    async def send(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            answer.status = message["status"]
            answer.headers = {k.lower(): v for k, v in message["headers"]}
        else:
            answer.body += message.get("body", b"")

    call: Callable[..., Awaitable[None]] = app
    await asyncio.wait_for(call(scope, receive, send), 30)
    return answer


def judged(asked: Asked, answer: Answer) -> bool:
    """Hold an answer to the laws; True if it was not refused."""
    status = answer.status
    law(100 <= status < 500 or (status == 503 and asked.routed == "/readyz"), f"status {status}")
    law(b"Traceback (most" not in answer.body, "a traceback in the answer")
    law(b"content-security-policy" in answer.headers, "no Content-Security-Policy")
    law(answer.headers.get(b"x-content-type-options") == b"nosniff", "no nosniff")
    if status >= 400 and asked.path.startswith(b"/api/") and asked.method != "HEAD":
        problem = json.loads(bytes(answer.body))
        law(problem["status"] == status, "the problem names another status")
        law(bool(problem["detail"]), "a problem without words")
        law(len(answer.body) < 100_000, "a problem that is too long")
    return status < 400


_QUERIES = (
    b"channel=north/bay-1/gun-a/nozzle&start=2026-05-04T07:00:00Z&end=2026-05-04T08:00:00Z",
    b"channel=north/bay-1/gun-a/nozzle&start=2026-05-04T07:00:00Z&end=2026-05-04T08:00:00Z&points=9",
    b"limit=10&cursor=abc&job=4711&seam=12",
    b"limit=1&cursor=WzEsMl0&station=north/bay-1&gun=a&verdict=conforms",
    b"start=2026-05-04T07:00:00Z&end=2026-05-04T08:00:00Z&as=recalibrated&columns=time",
    b"growth=linear&first=0&instrument=tc-7&state=active",
    b"q=%25&lang=de&wall=1&theme=dark",
)
_COOKIES = (b"steadybead_session=abcdef", b"lang=de; theme=dark", b"steadybead_tablet=1; a=b")
_ACCEPTS = (
    b"text/csv",
    b"application/json",
    b"application/vnd.apache.parquet",
    b"text/html",
    b"*/*",
)
_TYPES = (b"application/json", b"application/x-www-form-urlencoded", b"multipart/form-data", b"x/y")


def http_raw(folder: Path) -> Target:
    """Send raw requests to every route, as every role, with odd paths, queries, headers, bodies."""
    site = _Site(folder)
    samples = bodies(site.document)
    routes = [
        (path, method)
        for path, method in all_routes(site.app)
        if not path.endswith("/evidence")  # a PDF takes long to make: other tests ask for it
    ]

    def make(draw: Random) -> Asked:
        site.refresh()
        path, method = draw.choice(routes)
        if draw.random() < 0.05:
            method = draw.choice(("GET", "POST", "PUT", "DELETE", "HEAD", "OPTIONS", "QUERY", "X"))
        query = mutate.data(draw, _QUERIES) if draw.random() < 0.7 else b""
        query = query.replace(b" ", b"+")
        body = b""
        headers = [(b"host", b"localhost")]
        if method == "POST":
            body, kind = _body(draw, samples.get((path, method)))
            headers.append((b"content-type", kind))
            if draw.random() < 0.5:
                size = draw.choice((str(len(body)).encode(), str(len(body)).encode(), b"-1", b"x"))
                headers.append((b"content-length", size))
        headers += _headers(draw)
        return Asked(method, _path(draw, path), query, headers, body, draw.randrange(7))

    def feed(asked: Asked) -> bool:
        return judged(asked, site.ask(asked))

    return Target("HTTP, raw", make, feed, most_megabytes=200, close=site.close)


def _path(draw: Random, path: str) -> bytes:
    def value(found: re.Match[str]) -> str:
        if draw.random() < 0.6:
            return _KNOWN.get(found[1], "x")
        odd = draw.choice((*mutate.ODD_TEXTS, "%ff%fe", "..%2f..", "%2e%2e", "%00", "1" * 25, "-1"))
        return odd if odd.startswith("%") else quote(odd, safe="/", errors="surrogatepass")

    made = _PLACE.sub(value, path).encode()
    return mutate.data(draw, [made], 1) if draw.random() < 0.05 else made


def _headers(draw: Random) -> list[tuple[bytes, bytes]]:
    found = []
    if draw.random() < 0.3:
        found.append((b"accept", mutate.data(draw, _ACCEPTS)))
    if draw.random() < 0.3:
        found.append((b"cookie", mutate.data(draw, _COOKIES)))
    if draw.random() < 0.1:
        names = (b"x-csrf-token", b"accept-language", b"if-none-match", b"range", b"origin")
        names += (b"authorization", b"last-event-id", b"x-forwarded-for", b"content-encoding")
        found.append((draw.choice(names), mutate.data(draw, (b"de, en;q=0.5", b"bytes=0-9", b"a"))))
    return found


def _body(draw: Random, sample: Any) -> tuple[bytes, bytes]:
    """Make a body and its type: changed from what the route takes, or of any kind."""
    kind = draw.random()
    words = tuple(sample) if isinstance(sample, dict) else ("id", "time", "note")
    base = sample if sample is not None else mutate.value(draw)
    if kind < 0.6:
        changes = draw.choice((0, 1, 1, 2))
        tree = mutate.tree(draw, base, words, changes) if changes else base
        return mutate.as_json(tree), _TYPES[0]
    if kind < 0.8:
        return mutate.data(draw, [mutate.as_json(base)]), draw.choice(_TYPES[:2])
    pairs = "&".join(f"{w}={quote(draw.choice(mutate.ODD_TEXTS), errors='replace')}" for w in words)
    if kind < 0.98:
        return mutate.data(draw, [pairs.encode()]), draw.choice(_TYPES)
    return b" " * draw.choice((65_536, 65_537, 300_000)), _TYPES[0]


def all_routes(app: Any) -> list[tuple[str, str]]:
    """List every path and method, described or not."""
    found = {
        (str(route.path), method)
        for route in iter_route_contexts(app.routes)
        for method in route.methods or {"GET"}
    }
    return sorted(pair for pair in found if pair[1] in {"GET", "POST"})


def bodies(document: dict[str, Any]) -> dict[tuple[str, str], Any]:
    """Make one body for each route that takes one, from its description."""
    found = {}
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            content = operation.get("requestBody", {}).get("content", {})
            for described in content.values():
                sample = _sample(document, described["schema"], 5)
                found[path, method.upper()] = sample
    return found


def _sample(document: dict[str, Any], schema: dict[str, Any], depth: int) -> Any:  # noqa: PLR0911
    """Make a value that a schema may allow."""
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[1]
        return _sample(document, document["components"]["schemas"][name], depth)
    for word in ("anyOf", "oneOf", "allOf"):
        if word in schema:
            return _sample(document, schema[word][0], depth)
    if "enum" in schema:
        return schema["enum"][0]
    if "const" in schema:
        return schema["const"]
    kind = schema.get("type")
    if kind == "object":
        properties = schema.get("properties", {}) if depth else {}
        return {k: _known(k, _sample(document, s, depth - 1)) for k, s in properties.items()}
    if kind == "array":
        return [_sample(document, schema.get("items", {}), depth - 1)] if depth else []
    if schema.get("format") == "date-time":
        return "2026-05-04T07:30:00Z"
    plain = {"integer": 1, "number": 1.5, "boolean": True, "string": "x"}
    return plain.get(str(kind), "x")


_MEMBERS = {
    "station": "north/bay-1",
    "channel": str(NOZZLE),
    "gun": "a",
    "instrument": "tc-7",
    "procedure": "pp-speed-nozzle",
    "time": "2026-05-04T07:30:00Z",
    "performed": "2026-05-04T07:00:00Z",
    "start": "2026-05-04T07:00:00Z",
    "unit": "Cel",
}


def _known(name: str, value: Any) -> Any:
    return _MEMBERS.get(name, value)


def http_schema(folder: Path) -> Target:
    """Ask what the OpenAPI document allows, and what it does not, by schemathesis, as each role."""
    site = _Site(folder)

    def feed(asked: Asked) -> bool:
        return judged(asked, site.ask(asked))

    def run(judge: Judge, inputs: int, seed: int) -> None:
        _by_schema(judge, site, inputs, Random(seed))  # noqa: S311

    def nothing(_: Random) -> Asked:
        return Asked("GET", b"/healthz", b"", [], b"", 0)

    return Target("HTTP, by schema", nothing, feed, run=run, most_megabytes=200, close=site.close)


def _by_schema(judge: Judge, site: _Site, inputs: int, draw: Random) -> None:
    described = schemathesis.openapi.from_dict(site.document)
    described = described.exclude(path="/api/v1/welds/{weld}/evidence")
    operations = [found.ok() for found in described.get_all_operations()]
    bounded = settings(
        max_examples=max(1, -(-inputs // (2 * len(operations)))),
        deadline=None,
        derandomize=True,
        database=None,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
    )

    def one(case: Any) -> None:
        if judge.over:
            return
        asked = of_case(case, draw)
        site.refresh()
        with time_limit():
            judge.take(f"http_schema:{case.method} {case.path}", asked)

    for operation in operations:
        for mode in GenerationMode:
            with contextlib.suppress(Unsatisfiable):  # nothing in it can be asked wrongly
                bounded(given(operation.as_strategy(generation_mode=mode))(one))()


def of_case(case: Any, draw: Random) -> Asked:
    """Turn what schemathesis made into a request, with known names in half of the paths."""
    if draw.random() < 0.5:
        values = case.path_parameters or {}
        case.path_parameters = {k: _KNOWN.get(k, v) for k, v in values.items()}
    sent = case.as_transport_kwargs(base_url="http://localhost")
    try:
        request = requests.Request(**{k: v for k, v in sent.items() if k in _SENT}).prepare()
    except (ValueError, UnicodeError, OSError):
        return Asked(case.method, b"/healthz", b"", [], b"", 0)
    path, _, query = str(request.path_url).partition("?")
    body = request.body or b""
    if not isinstance(body, str | bytes):
        body = b"".join(body)
    headers = [
        (str(k).lower().encode("latin-1", "replace"), _octets(v))
        for k, v in request.headers.items()
        if str(k).lower() not in {"authorization", "content-length"}
    ]
    raw = body.encode("utf-8", "replace") if isinstance(body, str) else bytes(body)
    return Asked(
        str(request.method), path.encode(), query.encode(), headers, raw, draw.randrange(7)
    )


_SENT = {"method", "url", "headers", "params", "data", "json", "cookies", "files"}


def _octets(value: Any) -> bytes:
    return value if isinstance(value, bytes) else str(value).encode("latin-1", "replace")
