"""Where the readings server is, which bucket of it is ours, and the token that opens it."""

import re
import ssl
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import parse_qs, unquote, urlsplit

from steadybead_domain.ports import StoreError

SCHEMES = {"influxdb+http": "http", "influxdb+https": "https"}
EXAMPLE = "influxdb+http://host:8086/bucket?org=name"
_PORT = 8086
_BUCKET = re.compile(r"[^/\"'\\\x00-\x1f]+")


@dataclass(frozen=True, slots=True)
class InfluxAddress:
    """A bucket on a server. `org` is empty where the server knows none (1.8, 3)."""

    base: str
    bucket: str
    org: str = ""
    token: str | None = field(default=None, repr=False)
    ca_file: Path | None = None

    @classmethod
    def parse(
        cls, url: str, token: str | None = None, ca_file: Path | None = None
    ) -> "InfluxAddress":
        """Read `influxdb+http://host:port/bucket?org=…`; raise StoreError with the remedy."""
        try:
            parts = urlsplit(url)
            port = parts.port or _PORT
        except ValueError:
            raise _bad(url) from None
        bucket = unquote(parts.path.strip("/"))
        if parts.scheme not in SCHEMES or not parts.hostname or parts.username is not None:
            raise _bad(url)
        if _BUCKET.fullmatch(bucket) is None:
            raise StoreError(f'[store] readings = "{url}" names no bucket: write {EXAMPLE}')
        host = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
        org = parse_qs(parts.query).get("org", [""])[0]
        return cls(f"{SCHEMES[parts.scheme]}://{host}:{port}", bucket, org, token, ca_file)

    def tls(self) -> ssl.SSLContext | bool:
        """Give what certificates are checked against; StoreError if the CA file is none."""
        if self.ca_file is None or not self.base.startswith("https:"):
            return True
        try:
            return ssl.create_default_context(cafile=str(self.ca_file))
        except (OSError, ssl.SSLError) as error:
            raise StoreError(f"{self.ca_file} holds no CA certificate in PEM ({error})") from error

    def __str__(self) -> str:
        """Write server and bucket, never the token."""
        return f"{self.base}/{self.bucket}"


def _bad(url: str) -> StoreError:
    shown = re.sub(r"//[^/@]*@", "//…@", url)
    return StoreError(f'[store] readings = "{shown}" is no address: write {EXAMPLE}')
