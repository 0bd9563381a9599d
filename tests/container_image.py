"""Images for tests where no registry is to be reached: made of this machine's own packages.

The base image holds the files of installed Debian packages and of all they depend on. Real images
are used where `STEADYBEAD_TEST_BASE_IMAGE`, `…_MOSQUITTO_IMAGE`, `…_INFLUXDB_IMAGE` or
`…_POSTGRES_IMAGE` name one.
"""

import io
import re
import shutil
import subprocess
import tarfile
from collections.abc import Iterable
from pathlib import Path

PACKAGES = (
    *("base-files", "base-passwd", "libc-bin", "dash", "coreutils", "sed", "grep", "findutils"),
    *("ca-certificates", "netbase", "python3", "python3-venv"),
    *("mosquitto", "mosquitto-clients", "influxdb"),
)
_MERGED = re.compile(r"^(bin|sbin|lib|lib32|lib64|libx32)/")
_SKIPPED = re.compile(r"^usr/share/(doc|man|locale|info|lintian)/|^var/(cache|lib/dpkg|lib/apt)/")
SERVER = 10001  # whom docker-compose.yml lets every server run as
_ALSO = ("etc/group", "etc/ld.so.cache", "etc/alternatives", "usr/bin/awk")


def missing_packages() -> list[str]:
    """Name what would have to be installed for a base image."""
    if shutil.which("dpkg-query") is None:
        return ["dpkg"]
    known = _dependencies()
    return [name for name in (*PACKAGES, postgres_package(known)) if name not in known]


def postgres_package(known: Iterable[str]) -> str:
    """Name the newest PostgreSQL server that is installed."""
    found = sorted(name for name in known if re.fullmatch(r"postgresql-\d+", name))
    return found[-1] if found else "postgresql"


def write_base(file: Path) -> None:
    """Write a tar of the packages' files, for `docker import`."""
    with tarfile.open(file, "w", format=tarfile.PAX_FORMAT) as tar:
        for name in ("bin", "sbin", "lib", "lib64"):
            link = tarfile.TarInfo(name)
            link.type, link.linkname = tarfile.SYMTYPE, f"usr/{name}"
            tar.addfile(link)
        for name in ("proc", "sys", "dev", "run", "tmp", "var/tmp"):
            folder = tarfile.TarInfo(name)
            folder.type, folder.mode = tarfile.DIRTYPE, 0o1777 if "tmp" in name else 0o755
            tar.addfile(folder)
        users = Path("/etc/passwd").read_text() + f"server:x:{SERVER}:{SERVER}::/tmp:/bin/sh\n"
        _add_text(tar, "etc/passwd", users)
        for inside, name in sorted({_MERGED.sub(r"usr/\1/", n): n for n in _files()}.items()):
            tar.add(f"/{name}", inside, recursive=False)


def _add_text(tar: tarfile.TarFile, name: str, text: str) -> None:
    data = text.encode()
    item = tarfile.TarInfo(name)
    item.size, item.mode = len(data), 0o644
    tar.addfile(item, io.BytesIO(data))


def _files() -> list[str]:
    known = _dependencies()
    wanted = _closure((*PACKAGES, postgres_package(known)), known)
    listed = subprocess.run(
        ["dpkg-query", "-L", *sorted(wanted)], capture_output=True, text=True, check=True
    ).stdout.splitlines()
    names = {line.lstrip("/") for line in listed if line.startswith("/")} - {"", "."}
    for name in _ALSO:
        found = Path("/", name)
        names.add(name)
        names |= {str(p).lstrip("/") for p in found.iterdir()} if found.is_dir() else set()
    names |= {str(p).lstrip("/") for p in Path("/etc/ssl/certs").iterdir()}
    top = {"bin", "sbin", "lib", "lib64", "proc", "sys", "dev", "run", "tmp", "var/tmp"}
    kept = (n for n in names if n not in top | {"etc/passwd"} and not _SKIPPED.match(n))
    return sorted(n for n in kept if Path("/", n).is_symlink() or Path("/", n).exists())


def _dependencies() -> dict[str, list[list[str]]]:
    """Give, for each installed package, its groups of alternatives."""
    form = "${Package}\t${Status}\t${Pre-Depends}, ${Depends}\t${Provides}\n"
    told = subprocess.run(
        ["dpkg-query", "-W", "-f", form], capture_output=True, text=True, check=True
    ).stdout
    known: dict[str, list[list[str]]] = {}
    for line in told.splitlines():
        name, status, needs, provides = line.split("\t")
        if not status.endswith(" installed"):
            continue
        known[name] = [
            [re.split(r"[ :(]", option.strip())[0] for option in group.split("|")]
            for group in needs.split(",")
            if group.strip()
        ]
        for other in provides.split(","):
            if other.strip():
                known.setdefault(re.split(r"[ :(]", other.strip())[0], [[name]])
    return known


def _closure(names: Iterable[str], known: dict[str, list[list[str]]]) -> set[str]:
    installed = subprocess.run(
        ["dpkg-query", "-W", "-f", "${Package}\n"], capture_output=True, text=True, check=True
    ).stdout
    real = set(installed.splitlines())
    waiting, seen = list(names), set()
    while waiting:
        name = waiting.pop()
        if name in seen or name not in known:
            continue
        seen.add(name)
        waiting += [next((o for o in group if o in known), group[0]) for group in known[name]]
    return seen & real
