"""The files that a browser loads, found once at start and named by what is in them."""

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from importlib.resources.abc import Traversable
from importlib.util import find_spec
from pathlib import Path
from types import MappingProxyType

MEDIA_TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
IMPORT = re.compile(r'^import [^;]*?"\./([^"]+)";$', re.MULTILINE)
KEEP_FOR_EVER = "public, max-age=31536000, immutable"
CHART_PACKAGE = "youplot"
CHART_FILES = {
    "uplot.iife.min.js": "2d27e8ad3d228164525ce213f9dc716f39b4e3aee0cc773fb3491c96cf4921a2",
    "uplot.min.css": "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
}


class AssetError(Exception):
    """A browser file is missing or is not the one that was tried; the message says the remedy."""


@dataclass(frozen=True, slots=True)
class Asset:
    """One file: its bytes and its media type."""

    body: bytes
    media_type: str


@dataclass(frozen=True, slots=True)
class Assets:
    """All files under one address that changes when any of them changes.

    Modules name each other by relative address, so the fingerprint stands in the folder's name
    and not in the file's.
    """

    fingerprint: str
    by_path: Mapping[str, Asset]

    def imports(self, path: str) -> tuple[str, ...]:
        """Name the modules that a module imports, and those that these import, each once."""
        found: dict[str, None] = {}
        open_ends = [path]
        while open_ends:
            text = self.by_path[open_ends.pop()].body.decode()
            fresh = [name for name in IMPORT.findall(text) if name not in found]
            found |= dict.fromkeys(fresh)
            open_ends += fresh
        return tuple(found)

    def url(self, path: str) -> str:
        """Give the address of a file; KeyError if there is none."""
        if path not in self.by_path:
            raise KeyError(path)
        return f"/static/{self.fingerprint}/{path}"

    def find(self, fingerprint: str, path: str) -> Asset | None:
        """Find a file of exactly this fingerprint."""
        return self.by_path.get(path) if fingerprint == self.fingerprint else None


def load_assets(made: Mapping[str, str] = MappingProxyType({})) -> Assets:
    """Read our files and the chart library's; AssetError where the latter is another one.

    `made` are scripts that were made at start, by their names.
    """
    found = dict(_ours(files("steadybead_dashboards") / "static", ""))
    found |= {n: Asset(text.encode(), MEDIA_TYPES[_suffix(n)]) for n, text in made.items()}
    found |= {f"charts/{name}": _chart_file(name, pin) for name, pin in CHART_FILES.items()}
    digest = hashlib.sha256()
    for path in sorted(found):
        digest.update(path.encode() + b"\0" + hashlib.sha256(found[path].body).digest())
    return Assets(digest.hexdigest()[:16], found)


def _ours(folder: Traversable, prefix: str) -> list[tuple[str, Asset]]:
    rows: list[tuple[str, Asset]] = []
    for entry in folder.iterdir():
        if entry.is_dir():
            rows += _ours(entry, f"{prefix}{entry.name}/")
        elif (media_type := MEDIA_TYPES.get(_suffix(entry.name))) is not None:
            rows.append((prefix + entry.name, Asset(entry.read_bytes(), media_type)))
    return rows


def _chart_file(name: str, pin: str) -> Asset:
    remedy = "install it again: pip install --force-reinstall youplot==1.0.0"
    spec = find_spec(CHART_PACKAGE)  # found, not imported: only its browser files are used
    folders = [] if spec is None else list(spec.submodule_search_locations or [])
    path = next((p for f in folders if (p := Path(f) / "vendor" / name).is_file()), None)
    if path is None:
        raise AssetError(f"the chart file {name} is missing; {remedy}")
    body = path.read_bytes()
    if hashlib.sha256(body).hexdigest() != pin:
        raise AssetError(f"the chart file {name} is not the one that was tried; {remedy}")
    return Asset(body, MEDIA_TYPES[_suffix(name)])


def _suffix(name: str) -> str:
    return name[name.rfind(".") :] if "." in name else ""
