"""The files that a browser loads, found once at start and named by what is in them."""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from importlib.util import find_spec
from pathlib import Path
from types import MappingProxyType

from steadybead_dashboards.joined import NotJoinedError, joined_script, joined_sheet

MEDIA_TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
KEEP_FOR_EVER = "public, max-age=31536000, immutable"
JOINED, JOINT, MOST_JOINED = "joined/", "+", 6
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
    own: frozenset[str]
    join: Callable[[str, tuple[str, ...]], Asset]

    def url(self, path: str) -> str:
        """Give the address of a file; KeyError if there is none."""
        if path not in self.by_path:
            raise KeyError(path)
        return f"/static/{self.fingerprint}/{path}"

    def joined(self, *names: str) -> str:
        """Give the address of scripts with all that they import, or of sheets, as one file.

        `records.css` and `base.css` are `joined/records+base.css`. KeyError if there is none.
        """
        suffix = _suffix(names[0])
        path = JOINED + JOINT.join(n.removesuffix(suffix) for n in names) + suffix
        if self._made(path) is None:
            raise KeyError(path)
        return f"/static/{self.fingerprint}/{path}"

    def find(self, fingerprint: str, path: str) -> Asset | None:
        """Find a file of exactly this fingerprint, or several joined."""
        if fingerprint != self.fingerprint:
            return None
        return self._made(path) if path.startswith(JOINED) else self.by_path.get(path)

    def _made(self, path: str) -> Asset | None:
        """Join what a path names; None unless these are few files of ours, each once."""
        suffix = _suffix(path)
        stems = path.removeprefix(JOINED).removesuffix(suffix).split(JOINT)
        names = tuple(stem + suffix for stem in stems)
        is_fit = len(set(names)) == len(names) <= MOST_JOINED and self.own.issuperset(names)
        return self.join(suffix, names) if is_fit else None


def load_assets(made: Mapping[str, str] = MappingProxyType({})) -> Assets:
    """Read our files and the chart library's; AssetError where they are not in order.

    `made` are scripts that were made at start, by their names.
    """
    found = dict(_ours(files("steadybead_dashboards") / "static", ""))
    own = frozenset(name for name in found if _suffix(name) in {".css", ".js"})
    found |= {n: Asset(text.encode(), MEDIA_TYPES[_suffix(n)]) for n, text in made.items()}
    found |= {f"charts/{name}": _chart_file(name, pin) for name, pin in CHART_FILES.items()}

    @lru_cache(maxsize=128)
    def join(suffix: str, names: tuple[str, ...]) -> Asset:
        joined = joined_script if suffix == ".js" else joined_sheet
        text = joined(names, lambda name: found[name].body.decode())
        return Asset(text.encode(), MEDIA_TYPES[suffix])

    try:
        whole = join(".js", tuple(sorted(n for n in own if _suffix(n) == ".js")))
    except NotJoinedError as error:
        raise AssetError(str(error)) from None
    digest = hashlib.sha256(whole.body)
    for path in sorted(found):
        digest.update(path.encode() + b"\0" + hashlib.sha256(found[path].body).digest())
    return Assets(digest.hexdigest()[:16], found, own, join)


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
