"""The audit trail held to the daily roots, and checked from the command line."""

import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from evidence_shop import SealedShop, sealed_shop
from plants_ingest import PLANT
from steadybead_api.command import main
from steadybead_collector.backups import back_up, restore
from steadybead_collector.config.settings import StoreSettings
from steadybead_collector.evidence.keeper import RootKeeper
from steadybead_collector.evidence.roots import RootBook
from steadybead_collector.evidence.trail_check import check_trail
from steadybead_collector.evidence.ways import FolderWay
from steadybead_collector.records.chain import entry_hash
from steadybead_domain.people import Actor, Role
from steadybead_domain.times import DAY

BOSS = Actor("Zoë", Role.ADMINISTRATOR)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[SealedShop]:
    with sealed_shop(tmp_path) as opened:
        for role in Role:
            opened.token(role)
        yield opened


def keeper(shop: SealedShop, drop: Path | None = None) -> RootKeeper:
    ways = () if drop is None else (FolderWay(drop),)
    return RootKeeper(shop.readings, shop.folder, "north", ways, shop.clock, shop.records.audit)


def rewritten(folder: Path, actor: str, entry: int) -> None:
    """Change an entry as an administrator of the database could: chain and triggers and all."""
    connection = sqlite3.connect(folder / "records.db")
    connection.row_factory = sqlite3.Row
    for act in ("update", "delete", "replace"):
        connection.execute(f"DROP TRIGGER audit_no_{act}")
    connection.execute("UPDATE audit SET actor = ? WHERE id = ?", (actor, entry))
    previous = None
    for row in connection.execute("SELECT * FROM audit ORDER BY id").fetchall():
        digest = entry_hash({**dict(row), "detail": json.loads(row["detail"])}, previous)
        put = "UPDATE audit SET previous = ?, sha256 = ? WHERE id = ?"
        connection.execute(put, (previous, digest, row["id"]))
        previous = digest
    connection.commit()
    connection.close()


def verify(shop: SealedShop, *words: str) -> int:
    config = shop.folder / "plant.toml"
    config.write_text(PLANT)
    return main(["audit", "verify", "--config", str(config), "--data", str(shop.folder), *words])


def test_a_root_holds_the_newest_entry_and_takes_it_out_of_the_shop(
    shop: SealedShop, tmp_path: Path
) -> None:
    drop = tmp_path / "elsewhere"
    drop.mkdir()
    (root,) = keeper(shop, drop).look()
    assert root.trail == shop.records.audit.head()
    (letter,) = drop.iterdir()
    assert root.audit is not None
    assert json.loads(letter.read_text())["audit"] == root.audit
    assert RootBook(shop.folder).faults() == []


def test_roots_from_before_the_chain_stay_good(shop: SealedShop) -> None:
    (old,) = shop.keeper().look()
    assert old.trail is None
    found = check_trail(shop.records.audit, RootBook(shop.folder).roots())
    assert (found.faults, found.roots) == ((), 0)


def test_a_chain_made_anew_is_found_by_the_root_and_told_once_a_day(
    shop: SealedShop, caplog: pytest.LogCaptureFixture
) -> None:
    keeper(shop).look()
    rewritten(shop.folder, "nobody", 2)
    found = check_trail(shop.records.audit, RootBook(shop.folder).roots())
    assert found.walked.fault == ""
    assert "entries up to it were changed" in found.faults[0]
    shop.clock.now += DAY
    keeper(shop).look()
    assert [r.message for r in caplog.records if "audit trail" in r.message]


def test_the_command_says_whole_and_prints_the_head(
    shop: SealedShop, capsys: pytest.CaptureFixture[str]
) -> None:
    keeper(shop).look()
    assert verify(shop) == 0
    said = capsys.readouterr().out.splitlines()
    head = said[-1].removeprefix("newest entry ")
    assert said[0] == "the audit trail is whole; 1 daily roots know it"
    shop.token(Role.VIEWER)
    assert verify(shop, "--head", head) == 0
    rewritten(shop.folder, "nobody", 2)
    (root,) = (shop.folder / "roots").glob("*.json")
    root.unlink()
    assert verify(shop) == 0
    capsys.readouterr()
    assert verify(shop, "--head", head) == 1
    assert "the head given knew entry" in capsys.readouterr().out


def test_the_command_holds_the_trail_to_a_root_that_was_received(
    shop: SealedShop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drop = tmp_path / "elsewhere"
    drop.mkdir()
    keeper(shop, drop).look()
    (letter,) = drop.iterdir()
    assert verify(shop, "--root", str(letter)) == 0
    rewritten(shop.folder, "nobody", 2)
    (shop.folder / "roots" / "2026-05-04.1.json").unlink()
    assert verify(shop, "--root", str(letter)) == 1
    assert "changed or taken out" in capsys.readouterr().out


def test_the_command_names_the_entry_that_was_changed(
    shop: SealedShop, capsys: pytest.CaptureFixture[str]
) -> None:
    connection = sqlite3.connect(shop.folder / "records.db")
    connection.execute("DROP TRIGGER audit_no_update")
    connection.execute("UPDATE audit SET detail = '{}' WHERE id = 3")
    connection.commit()
    connection.close()
    assert verify(shop) == 1
    assert "entry 3 is not what was written" in capsys.readouterr().out


@pytest.mark.parametrize("words", [["--head", "7"], ["--root", "plant.toml"]])
def test_what_is_no_head_is_refused(
    shop: SealedShop, words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert verify(shop, *[w.replace("plant", str(shop.folder / "plant")) for w in words]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_backup_and_its_way_back_keep_the_chain(shop: SealedShop, tmp_path: Path) -> None:
    keeper(shop).look()
    back_up(StoreSettings(), PLANT, shop.folder, tmp_path.parent / f"{tmp_path.name}-backup")
    shop.token(Role.VIEWER)
    other = tmp_path.parent / f"{tmp_path.name}-restored"
    restore(tmp_path.parent / f"{tmp_path.name}-backup", other)
    config = tmp_path / "plant.toml"
    config.write_text(PLANT)
    assert main(["audit", "verify", "--config", str(config), "--data", str(other)]) == 0
