"""One readings server: write lines durably, ask questions in InfluxQL."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import compress
from typing import Any

import httpx
import orjson
from influxdb_client import InfluxDBClient, WritePrecision, WriteService
from influxdb_client.rest import ApiException
from urllib3.exceptions import HTTPError

from steadybead_collector.stores.influx import faults
from steadybead_collector.stores.influx.address import InfluxAddress
from steadybead_domain.ports import StoreError

WRITE_WITHIN_S = 10.0
READ_WITHIN_S = 30.0
_CONNECT_WITHIN_S = 3.0
_DURABLE = 204
_OK = 200


@dataclass(frozen=True, slots=True)
class Series:
    """Rows of one series as they were answered: `columns` by name, `time` among them in ns."""

    tags: Mapping[str, str]
    columns: Mapping[str, list[Any]]

    def __len__(self) -> int:
        """Count the rows."""
        return len(self.columns["time"])

    def whole(self, *names: str) -> "Series":
        """Leave out rows that lack one of these fields.

        A server shows the fields of a point one by one while it is being written.
        """
        if not any(None in self.columns[name] for name in names):
            return self
        needed = zip(*(self.columns[name] for name in names), strict=True)
        kept = [None not in row for row in needed]
        columns = {name: list(compress(column, kept)) for name, column in self.columns.items()}
        return Series(self.tags, columns)


class Server:
    """Speaks to one bucket; safe to use from several threads."""

    def __init__(self, address: InfluxAddress) -> None:
        self.address = address
        token = address.token or ""
        self._client = InfluxDBClient(
            url=address.base,
            token=token,
            org=address.org,
            timeout=int(WRITE_WITHIN_S * 1000),
            retries=False,
            ssl_ca_cert=None if address.ca_file is None else str(address.ca_file),
        )
        self._write = WriteService(self._client.api_client)
        headers = {"Authorization": f"Token {token}"} if token else {}
        timeout = httpx.Timeout(READ_WITHIN_S, connect=_CONNECT_WITHIN_S)
        self._http = httpx.Client(
            base_url=address.base, headers=headers, timeout=timeout, verify=address.tls()
        )

    def write(self, lines: str) -> None:
        """Write line protocol; when this returns, the server has it on disk.

        Raises AwayError where another attempt can help, RejectedError where the server refused
        lines (others of the same request may be stored), else StoreError.
        """
        try:
            _, status, _ = self._write.post_write_with_http_info(
                org=self.address.org,
                bucket=self.address.bucket,
                body=lines,
                precision=WritePrecision.NS,
                content_type="text/plain; charset=utf-8",
            )
        except ApiException as error:
            if not error.status:
                raise faults.unreachable(self.address, error) from error
            raise faults.answered(self.address, error.status, _said(error.body)) from error
        except (HTTPError, OSError) as error:
            raise faults.unreachable(self.address, error) from error
        if status != _DURABLE:
            raise faults.answered(self.address, status, "a write is confirmed by 204 only")

    def ask(self, question: str) -> list[Series]:
        """Ask one InfluxQL question; raise StoreError, also for errors inside a good answer."""
        return list(self._series(self._question("GET", question)))

    def order(self, statement: str) -> None:
        """Give an order, such as DELETE; raise StoreError."""
        list(self._series(self._question("POST", statement)))

    def check(self) -> None:
        """Raise StoreError that says what is wrong with address, token, bucket or mapping."""
        try:
            self.ask("SHOW MEASUREMENTS LIMIT 1")
        except faults.MissingError:
            bucket_id = self._bucket_id()
            if bucket_id is None:
                raise
            raise faults.no_mapping(self.address, bucket_id) from None

    def close(self) -> None:
        """Close the connections; idempotent."""
        self._client.close()
        self._http.close()

    def _question(self, method: str, text: str) -> Any:
        asked = {"db": self.address.bucket, "epoch": "ns", "q": text}
        try:
            answer = self._http.request(method, "/query", params=asked)
        except httpx.HTTPError as error:
            raise faults.unreachable(self.address, error) from error
        if answer.status_code != _OK:
            raise faults.answered(self.address, answer.status_code, _said(answer.text))
        try:
            return orjson.loads(answer.content)
        except orjson.JSONDecodeError as error:
            message = f"{self.address.base} does not answer like a readings server: check the port"
            raise StoreError(message) from error

    def _series(self, answer: Any) -> Iterator[Series]:
        for result in (answer, *answer.get("results", ())):
            if "error" in result:
                raise faults.in_results(self.address, str(result["error"]))
        for result in answer.get("results", ()):
            if result.get("partial"):
                raise faults.in_results(self.address, "max-row-limit cut the answer")
            for found in result.get("series", ()):
                rows = found.get("values", ())
                columns = dict(zip(found["columns"], map(list, zip(*rows, strict=True))))  # noqa: B905
                yield Series(found.get("tags", {}), columns)

    def _bucket_id(self) -> str | None:
        """Find the bucket by the 2.x interface; None where it is not, or where there is none."""
        asked = {"name": self.address.bucket, "org": self.address.org}
        try:
            answer = self._http.get("/api/v2/buckets", params=asked)
            found = orjson.loads(answer.content).get("buckets", [])
        except (httpx.HTTPError, orjson.JSONDecodeError, AttributeError):
            return None
        return str(found[0].get("id", "")) if found else None


def _said(body: Any) -> str:
    """Pick the sentence out of an error body: JSON with `error` or `message`, or plain text."""
    try:
        content = orjson.loads(body)
        return str(content.get("message") or content.get("error") or body)
    except (orjson.JSONDecodeError, AttributeError, TypeError):
        return str(body or "")
