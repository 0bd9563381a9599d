"""The units for systemd: sound, confined, and starting commands that there are."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from steadybead_api.command import build_parser

UNITS = sorted((Path(__file__).parents[2] / "collector" / "systemd").glob("*.service"))
ANALYZE = shutil.which("systemd-analyze")
needs_systemd = pytest.mark.skipif(ANALYZE is None, reason="systemd-analyze is not installed")
NAMES = [unit.name for unit in UNITS]
MOST_EXPOSED = 20  # its scale runs to 100, 0 is the best


def settings(unit: Path) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for line in unit.read_text("utf-8").splitlines():
        if "=" in line and not line.startswith("#"):
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found


def test_there_is_a_unit_for_each_way_to_run() -> None:
    words = {settings(unit)["ExecStart"][0].split()[1] for unit in UNITS}
    assert words == {"run", "collect", "serve"}


@pytest.mark.parametrize("unit", UNITS, ids=NAMES)
def test_a_unit_starts_a_command_that_there_is(unit: Path) -> None:
    (command,) = settings(unit)["ExecStart"]
    parsed = build_parser().parse_args(command.split()[1:])
    assert str(parsed.config) == "/etc/steadybead/plant.toml"
    assert str(parsed.data) == "/var/lib/steadybead"
    assert getattr(parsed, "host", "127.0.0.1") == "127.0.0.1"


@pytest.mark.parametrize("unit", UNITS, ids=NAMES)
def test_a_unit_has_no_rights_that_it_does_not_need(unit: Path) -> None:
    told = settings(unit)
    assert told["User"] == ["steadybead"]
    assert told["CapabilityBoundingSet"] == [""]
    assert told["ProtectSystem"] == ["strict"]
    assert told["NoNewPrivileges"] == ["yes"]
    assert told["UMask"] == ["0077"]
    assert "ReadWritePaths" not in told
    assert not [key for key in told if key.startswith("Environment")]


@needs_systemd
@pytest.mark.parametrize("unit", UNITS, ids=NAMES)
def test_systemd_finds_no_fault(unit: Path, tmp_path: Path) -> None:
    here = tmp_path / unit.name
    text = unit.read_text("utf-8").replace("/opt/steadybead/bin/steadybead", sys.executable)
    here.write_text(text)
    words = [str(ANALYZE), "verify", "--man=no", str(here)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=60, check=False)
    told = [line for line in done.stderr.splitlines() if unit.name in line]
    assert told == []


@needs_systemd
@pytest.mark.parametrize("unit", UNITS, ids=NAMES)
def test_systemd_calls_the_unit_well_confined(unit: Path) -> None:
    options = ["--no-pager", "--offline=true", f"--threshold={MOST_EXPOSED}"]
    words = [str(ANALYZE), "security", *options, str(unit)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=60, check=False)
    last = (done.stdout.strip().splitlines() or [done.stderr])[-1]
    assert done.returncode == 0, last
