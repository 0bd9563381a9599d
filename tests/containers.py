"""A container daemon, images and the compose file for tests, where this machine lets them run."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import container_image
from influx_server import free_ports

ROOT = Path(__file__).parent.parent
LOCAL = ROOT / "tests" / "containers_local.yml"
_SHIPPED = ("collector", "api", "dashboards", "simulator")
_BESIDE = ("pyproject.toml", "README.md", "LICENSE", ".dockerignore", "requirements-server.txt")
_TOOLS = {"docker": "docker.io", "dockerd": "docker.io"}
STAND_INS = {
    "MOSQUITTO_IMAGE": "STEADYBEAD_TEST_MOSQUITTO_IMAGE",
    "INFLUXDB_IMAGE": "STEADYBEAD_TEST_INFLUXDB_IMAGE",
    "POSTGRES_IMAGE": "STEADYBEAD_TEST_POSTGRES_IMAGE",
}


class NoContainersError(Exception):
    """Containers cannot be run here; the message says why."""


def why_not() -> str | None:
    """Say what is missing; None if containers may be tried."""
    if os.environ.get("STEADYBEAD_NO_CONTAINERS") == "1":
        return "STEADYBEAD_NO_CONTAINERS=1"
    if os.environ.get("DOCKER_HOST") is None and os.geteuid() != 0:
        return "no container daemon: DOCKER_HOST names none, and only root can start one"
    for tool, package in _TOOLS.items():
        if shutil.which(tool) is None:
            return f"Docker is not installed (Debian's package {package})"
    if _compose() is None:
        return "Docker Compose is not installed (Debian's package docker-compose)"
    if missing := container_image.missing_packages():
        return f"for the base image, not installed: {' '.join(missing)}"
    return None


def _compose() -> list[str] | None:
    if shutil.which("docker-compose"):
        return ["docker-compose"]
    found = subprocess.run(["docker", "compose", "version"], capture_output=True, check=False)
    return ["docker", "compose"] if found.returncode == 0 else None


@contextmanager
def daemon() -> Iterator[str]:
    """Give a daemon's address: the one that DOCKER_HOST names, or one of the tests' own.

    Raises NoContainersError with the daemon's own words if this kernel does not let it run.
    """
    named = os.environ.get("DOCKER_HOST")
    if named is not None:
        yield named
        return
    with tempfile.TemporaryDirectory(prefix="sbd-", dir="/var/tmp") as folder:
        host = f"unix://{folder}/s"
        log = Path(folder, "log")
        words = ["dockerd", "-H", host, "--data-root", f"{folder}/root"]
        words += ["--exec-root", f"{folder}/exec", "-p", f"{folder}/pid"]
        with log.open("wb") as sink:
            process = subprocess.Popen(words, stdout=sink, stderr=sink)
        try:
            _await(lambda: _answers(host) or process.poll() is not None, 60, "dockerd")
            if process.poll() is not None:
                said = log.read_text(errors="replace").strip().splitlines()[-1:]
                raise NoContainersError(f"this kernel lets no container daemon run: {said}")
            yield host
        finally:
            process.terminate()
            process.wait(60)


def _answers(host: str) -> bool:
    asked = ["docker", "-H", host, "info"]
    return subprocess.run(asked, capture_output=True, check=False).returncode == 0


def _await(done: Callable[[], bool], within_s: float, what: str, pause_s: float = 0.2) -> None:
    until = time.monotonic() + within_s
    pause = threading.Event()
    while not done():
        if time.monotonic() > until:
            raise TimeoutError(f"{what} took more than {within_s:.0f} s")
        pause.wait(pause_s)


def docker(host: str, *words: str, stdin: Path | None = None) -> str:
    """Run one docker command; give what it says."""
    source = stdin.open("rb") if stdin else subprocess.DEVNULL
    try:
        done = subprocess.run(
            ["docker", "-H", host, *words], stdin=source, capture_output=True, check=False
        )
    finally:
        if stdin:
            source.close()  # type: ignore[union-attr]
    if done.returncode != 0:
        raise NoContainersError(f"docker {words[0]}: {done.stderr.decode()[-600:]}")
    return done.stdout.decode().strip()


def base_image(host: str) -> str:
    """Give the image that stands in for broker, InfluxDB and PostgreSQL; made once a daemon."""
    name = "steadybead-test/base:local"
    if not docker(host, "images", "-q", name):
        with tempfile.TemporaryDirectory() as folder:
            tar = Path(folder, "base.tar")
            container_image.write_base(tar)
            docker(host, "import", str(tar), name)
    docker(host, "run", "--rm", "--network=none", name, "true")
    return name


def product_image(host: str, base: str) -> str:
    """Build the product's image from this checkout, with wheels that pip fetches on this side."""
    named = os.environ.get("STEADYBEAD_TEST_PRODUCT_IMAGE")
    if named is not None:
        return named
    name = "steadybead-test/product:local"
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        for part in _SHIPPED:
            shutil.copytree(ROOT / part, folder / part, ignore=_without_caches)
        for part in _BESIDE:
            shutil.copy(ROOT / part, folder / part)
        _fetch_wheels(folder / "wheels")
        words = ["--build-arg", f"BASE_IMAGE={base}", "--build-arg", "PIP_NO_INDEX=1"]
        dockerfile = str(folder / "collector" / "Dockerfile")
        docker(host, "build", "-q", *words, "-f", dockerfile, "-t", name, text)
    return name


_without_caches = shutil.ignore_patterns("__pycache__", "*.pyc", "pictures")


def _fetch_wheels(folder: Path) -> None:
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q", "download", "-d"]
    pip += [str(folder), "--python-version=3.11"]
    locked = ["--require-hashes", "-r", str(ROOT / "requirements-server.txt"), "--no-deps"]
    builders = ["--only-binary=:all:", "hatchling>=1.27", "setuptools", "wheel"]
    for words in (locked, builders):
        done = subprocess.run([*pip, *words], capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise NoContainersError(f"wheels cannot be fetched: {done.stderr[-300:]}")


class Compose:
    """The compose file brought up under a name and on ports of its own."""

    def __init__(self, host: str, images: Mapping[str, str]) -> None:
        self.http_port, self.mqtt_port = free_ports(2)
        self._ids: dict[str, str] = {}
        self._words = [*(_compose() or ()), "-p", f"sbtest{os.getpid()}"]
        self._words += ["-f", str(ROOT / "docker-compose.yml"), "-f", str(LOCAL)]
        self._environment = os.environ | {
            "DOCKER_HOST": host,
            "SHIM": str(ROOT / "tests" / "influx_shim.py"),
            "STEADYBEAD_HTTP": f"127.0.0.1:{self.http_port}",
            "STEADYBEAD_MQTT": f"127.0.0.1:{self.mqtt_port}",
            **images,
        }

    def run(self, *words: str, within_s: float = 240) -> str:
        """Run one compose command; give what it says."""
        done = subprocess.run(
            [*self._words, *words],
            env=self._environment,
            capture_output=True,
            text=True,
            timeout=within_s,
            check=False,
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
        )
        if done.returncode != 0:
            raise AssertionError(f"compose {' '.join(words)}: {done.stderr[-1500:]}")
        return done.stdout

    def docker(self, *words: str) -> str:
        """Run one docker command on this set-up's daemon, which starts sooner than compose."""
        return docker(self._environment["DOCKER_HOST"], *words)

    def id_of(self, service: str) -> str:
        """Give the id of a service's container, which it keeps over kill and start."""
        if service not in self._ids:
            self._ids[service] = self.run("ps", "-q", service).strip()
        return self._ids[service]

    def inside(self, service: str, *words: str) -> str:
        """Run a command in a service's container; give what it says."""
        return self.docker("exec", self.id_of(service), *words)

    def health(self, services: Sequence[str]) -> set[str]:
        """Give the states of health of some services' containers, asked for at once."""
        ids = [self.id_of(service) for service in services]
        told = self.docker("inspect", "-f", "{{json .State}}", *ids)
        states = [json.loads(line) for line in told.splitlines()]
        return {str(s.get("Health", {}).get("Status", s["Status"])) for s in states}

    def await_health(self, services: Sequence[str], within_s: float = 180) -> None:
        """Wait until all of some services are healthy."""
        _await(lambda: self.health(services) == {"healthy"}, within_s, str(services), 1.0)
