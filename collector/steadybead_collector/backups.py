"""Backups of a whole shop while it runs, and their way back into an empty data folder."""

import contextlib
import hashlib
import re
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from steadybead_collector.config.settings import StoreSettings
from steadybead_collector.records.database import FILE_NAME as RECORDS
from steadybead_collector.stores.backup import (
    check,
    check_structure,
    copy_file,
    copy_open,
    copy_readings,
)
from steadybead_collector.stores.database import FILE_NAME as READINGS
from steadybead_collector.stores.files import sync_folder
from steadybead_domain.ports import StoreError

SUMS = "SHA256SUMS"
PLANT = "plant.toml"
_STAGE = ".restoring"
_PASSING = re.compile(r".*(-wal|-shm|-journal|\.lock|\.pid|\.new|\.part)")
_LEFT_OUT = {READINGS, RECORDS, PLANT, SUMS, "broker", _STAGE}
_SUM = re.compile(r"([0-9a-f]{64})  (\S.*)")


@dataclass(frozen=True, slots=True)
class Copied:
    """What a backup or a restored shop holds; `chunks` is the number of leaf hashes that held."""

    files: int
    size: int
    chunks: int = 0


def back_up(store: StoreSettings, plant_text: str, data_dir: Path, target: Path) -> Copied:
    """Copy a shop to the new folder `target`, also while it runs; StoreError with a remedy.

    `target` appears when it is whole and on disk, with the hashes of all its files in the form
    that `sha256sum -c` reads. Messages that wait in the embedded broker are not in it. Records are
    copied first, so that the readings reach at least as far as a diagnosis in the records says.
    """
    _check_backup(store, data_dir, target)
    with _explained(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=f"{target.name}.part-", dir=target.parent))
        try:
            copy_open(data_dir / RECORDS, part / RECORDS)
            copy_readings(data_dir, part / READINGS)
            (part / PLANT).write_text(plant_text, "utf-8")
            for name in _others(data_dir):
                copy_file(data_dir / name, part / name)
            sums = {name: _sha256(part / name) for name in _files(part)}
            text = "".join(f"{digest}  {name}\n" for name, digest in sums.items())
            (part / SUMS).write_text(text, "utf-8")
            _sync(part)
            part.replace(target)  # over an empty folder or none
            sync_folder(target.parent)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    return Copied(len(sums), sum((target / name).stat().st_size for name in sums))


def restore(source: Path, data_dir: Path) -> Copied:
    """Check a backup whole and put it into an empty data folder; StoreError, nothing changed then.

    Every file is held to its hash, before and after it is copied, the databases to their structure
    and the sealed readings to their leaf hashes.
    """
    with _explained(data_dir):
        _check_empty(data_dir)
        sums = _read_sums(source)
        for name, digest in sums.items():
            _hold_to(source / name, digest)
        check_structure(source / RECORDS)
        chunks = check(source / READINGS)
        data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
        stage = data_dir / _STAGE
        stage.mkdir(mode=0o700)
        try:
            for name, digest in sums.items():
                copy_file(source / name, stage / name)
                _hold_to(stage / name, digest)
            (stage / PLANT).unlink(missing_ok=True)  # that of the caller counts
            _sync(stage)
            for path in sorted(stage.iterdir(), key=lambda path: path.name == READINGS):
                path.replace(data_dir / path.name)
            sync_folder(data_dir)
        finally:
            shutil.rmtree(stage, ignore_errors=True)
    return Copied(len(sums), sum((source / name).stat().st_size for name in sums), chunks)


def _check_backup(store: StoreSettings, data_dir: Path, target: Path) -> None:
    for what, url in (("readings", store.readings), ("records", store.records)):
        if url != "sqlite":
            raise StoreError(
                f"[store] {what} are on a server: back that up with the server's own tools, or copy"
                " the shop into embedded stores with `steadybead move`"
            )
    for name in (READINGS, RECORDS):
        if not (data_dir / name).is_file():
            raise StoreError(f"there is no {data_dir / name}: check --data")
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise StoreError(f"{target} is there already: name a folder that is not")
    if target.resolve().is_relative_to(data_dir.resolve()):
        raise StoreError(f"{target} lies in the data folder: name one elsewhere, on another disk")


def _check_empty(data_dir: Path) -> None:
    if data_dir.exists() and (not data_dir.is_dir() or (found := sorted(data_dir.iterdir()))):
        held = f" ({found[0].name} and so on)" if data_dir.is_dir() else ""
        raise StoreError(
            f"{data_dir} is not an empty folder{held}: move it away, or name another --data;"
            " nothing was changed"
        )


def _read_sums(source: Path) -> dict[str, str]:
    path = source / SUMS
    if not path.is_file():
        raise StoreError(f"{source} is no whole backup: there is no {SUMS} in it; name another")
    sums: dict[str, str] = {}
    for number, line in enumerate(path.read_text("utf-8", "replace").splitlines(), 1):
        found = _SUM.fullmatch(line)
        if found is None or not _stays_inside(found[2]):
            raise StoreError(f"{path}, line {number}: damaged; take another backup")
        sums[found[2]] = found[1]
    if missing := {READINGS, RECORDS} - sums.keys():
        raise StoreError(f"{path}: {min(missing)} is missing from the list; take another backup")
    return sums


def _stays_inside(name: str) -> bool:
    path = PurePosixPath(name)
    return not path.is_absolute() and ".." not in path.parts and "\\" not in name


def _hold_to(path: Path, digest: str) -> None:
    if not path.is_file():
        raise StoreError(f"{path} is missing: the backup is not whole; take another")
    if _sha256(path) != digest:
        raise StoreError(f"{path} is not what was backed up: its hash differs; take another backup")


def _others(data_dir: Path) -> Iterator[str]:
    """Name what else the rooms keep in the data folder: keys, roots, the client id."""
    for name in _files(data_dir):
        parts = PurePosixPath(name).parts
        if parts[0] not in _LEFT_OUT and _PASSING.fullmatch(parts[-1]) is None:
            yield name


def _files(folder: Path) -> Iterator[str]:
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not path.is_symlink():
            yield path.relative_to(folder).as_posix()


def _sync(folder: Path) -> None:
    for path in (folder, *folder.rglob("*")):
        if path.is_dir():
            sync_folder(path)


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@contextlib.contextmanager
def _explained(place: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise StoreError(
            f"cannot write {error.filename or place} ({error.strerror}): check space and permission"
        ) from error
