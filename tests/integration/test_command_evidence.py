"""`export` and `verify` as commands: an outsider checks a file with one command."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from api_shop import FLOW, NOZZLE, T0
from evidence_shop import WELD, cold_for, noisy, weld_events
from steadybead_collector.config import load_plant_file
from steadybead_collector.evidence.keys import PUBLIC
from steadybead_collector.records.store import open_records
from steadybead_collector.stores import SqliteReadings
from steadybead_domain.readings import Batch
from whole_process import call, write_plant


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Give a folder with a plant file, and beside it the data of a weld; nothing runs."""
    folder = tmp_path_factory.mktemp("shop")
    plant = load_plant_file(write_plant(folder, None)).plant
    data = folder / "steadybead-data"
    data.mkdir()
    records = open_records("sqlite", data)
    for event in weld_events():
        records.welds.add(event)
    records.close()
    readings = SqliteReadings(data, plant)
    heat = cold_for(noisy(320.0, 1.0, 30, 1), 300, 320, 250.0)
    readings.append(Batch(T0, {NOZZLE: heat, FLOW: noisy(54.0, 0.5, 30, 2)}))
    readings.close()
    return folder


@pytest.fixture(scope="module")
def exported(shop: Path) -> Path:
    file = shop / "weld.pdf"
    words = ("export", "weld", WELD, "-o", str(file), "--config", str(shop / "plant.toml"))
    ended = call(*words)
    assert (ended.returncode, ended.stderr) == (0, "")
    return file


def test_an_outsider_checks_with_one_command(exported: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "from-the-shop.pdf"
    elsewhere.write_bytes(exported.read_bytes())
    ended = call("verify", str(elsewhere))
    assert (ended.returncode, ended.stderr) == (0, "")
    assert "untouched since it was signed" in ended.stdout
    assert "signer not checked" in ended.stdout
    assert "does not conform" in ended.stdout
    assert "unchanged since export" in ended.stdout


def test_with_the_shops_key_the_signer_is_checked(exported: Path, shop: Path) -> None:
    key = shop / "steadybead-data" / "keys" / PUBLIC
    ended = call("verify", str(exported), "--key", str(key))
    assert ended.returncode == 0
    assert "signer checked" in ended.stdout


def test_a_changed_file_is_answered_with_the_part(exported: Path, tmp_path: Path) -> None:
    data = bytearray(exported.read_bytes())
    place = data.find(b"/F (readings.csv)")
    data[place + 5] ^= 1
    changed = tmp_path / "changed.pdf"
    changed.write_bytes(data)
    ended = call("verify", str(changed))
    assert (ended.returncode, ended.stderr) == (1, "")
    assert "NOT UNTOUCHED" in ended.stdout
    assert "list of attachments: changed" in ended.stdout


def test_a_strange_key_is_answered_with_no(exported: Path, tmp_path: Path) -> None:
    strange = tmp_path / "key.txt"
    strange.write_text("11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo\n")  # RFC 8037, A.2
    ended = call("verify", str(exported), "--key", str(strange))
    assert ended.returncode == 1
    assert "signer: it was signed by" in ended.stdout


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("verify", "nowhere.pdf"), "nowhere.pdf"),
        (("verify", "{file}", "--key", "{file}"), "no Ed25519 public key"),
        (("verify", "."), "directory"),
        (("export", "weld", "nothing", "-o", "x.pdf", "--config", "{plant}"), "no weld record"),
        (("export", "weld", WELD, "-o", "x", "--config", "{plant}", "--data", "gone"), "gone"),
        (("export", "weld", WELD, "--config", "{plant}"), "-o"),
        (("export", "weld", WELD, "-o", "/no/such/x.pdf", "--config", "{plant}"), "/no/such"),
    ],
)
def test_misuse_is_one_line(exported: Path, shop: Path, words: tuple[str, ...], told: str) -> None:
    plain = [w.format(file=exported, plant=shop / "plant.toml") for w in words]
    ended = call(*plain)
    assert ended.returncode == 2
    assert told in ended.stderr
    assert ended.stderr.count("\n") == 1
    assert "Traceback" not in ended.stderr
