"""Daily roots over a real store: late data, readings changed later, roots that leave the shop."""

import json
import stat
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import apsw
import numpy as np
import pytest

from api_shop import FLOW, NOZZLE, T0
from evidence_shop import SealedShop, cold_for, noisy, sealed_shop
from steadybead_api.evidence.check import check
from steadybead_api.evidence.command import verify_file
from steadybead_api.evidence.table import Group, read_groups, write_groups
from steadybead_collector.config.notify import NotifyTarget
from steadybead_collector.evidence.keeper import RootKeeper
from steadybead_collector.evidence.keys import PRIVATE, SigningKeyError, read_public, signing_key
from steadybead_collector.evidence.roots import RootBook, RootError, day_start
from steadybead_collector.evidence.ways import FolderWay, NoticeWay
from steadybead_collector.stores.leaves import leaf_hash
from steadybead_collector.stores.packed import pack, unpack
from steadybead_collector.stores.windows import WINDOW
from steadybead_domain.alarms.receivers import Receiver
from steadybead_domain.errors import PlainError
from steadybead_domain.evidence.jws import public_bytes, verify
from steadybead_domain.evidence.merkle import tree_hash
from steadybead_domain.readings import Batch
from steadybead_domain.times import DAY, MINUTE, SECOND

DAY_OF_WELD = "2026-05-04"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[SealedShop]:
    with sealed_shop(tmp_path) as opened:
        yield opened


def tamper(shop: SealedShop, *, leaf_too: bool) -> None:
    """Warm the cold stretch up in the file itself, as somebody with a database tool could."""
    connection = apsw.Connection(str(shop.folder / "readings.sqlite"))
    window = (T0 + 310 * SECOND) // WINDOW
    number, chunk = next(
        connection.execute(
            "SELECT channel, chunk FROM window JOIN channel ON channel.id = window.channel"
            " WHERE name = ? AND window = ?",
            (str(NOZZLE), window),
        )
    )
    (data,) = next(connection.execute("SELECT data FROM chunk WHERE id = ?", (chunk,)))
    rows = cold_for(unpack([data], window * WINDOW, (window + 1) * WINDOW), 300, 320, 320.0)
    connection.execute("UPDATE chunk SET data = ? WHERE id = ?", (pack(rows), chunk))
    if leaf_too:
        connection.execute(
            "UPDATE window SET leaf = ? WHERE channel = ? AND window = ?",
            (leaf_hash(NOZZLE, window * WINDOW, 0, rows), number, window),
        )
    connection.close()


def test_a_root_is_that_of_all_leaves_of_its_day(shop: SealedShop) -> None:
    (root,) = shop.keeper().look()
    start = day_start(DAY_OF_WELD)
    leaves = shop.readings.leaves(start, start + DAY)
    assert (root.day, root.leaves) == (DAY_OF_WELD, len(leaves))
    assert root.root == tree_hash([x.sha256 for x in leaves]).hex()
    assert root.select(leaves) == leaves


def test_a_second_look_on_the_same_day_makes_nothing(shop: SealedShop) -> None:
    keeper = shop.keeper()
    assert len(keeper.look()) == 1
    assert keeper.look() == []
    assert shop.keeper().look() == []


def test_a_day_that_is_not_over_has_no_root(tmp_path: Path) -> None:
    with sealed_shop(tmp_path) as shop:
        shop.clock.now = T0 + 3600 * SECOND
        assert shop.keeper().look() == []


def test_late_data_get_a_root_of_their_own_and_leave_the_first_as_it_was(
    shop: SealedShop,
) -> None:
    (first,) = shop.keeper().look()
    late = noisy(54.0, 0.5, 30, 9)
    shifted = late.take(late.time >= T0)
    moved = type(late)(
        shifted.time + 1,
        shifted.value,
        shifted.raw,
        shifted.quality,
        shifted.reason,
        shifted.plant,
    )
    shop.readings.append(Batch(shop.clock(), {FLOW: moved}))
    shop.readings.seal(shop.clock())
    (second,) = shop.keeper().look()
    assert (second.id, second.previous) == (f"{DAY_OF_WELD}.2", first.sha256)
    assert RootBook(shop.folder).faults() == []
    start = day_start(DAY_OF_WELD)
    leaves = shop.readings.leaves(start, start + DAY)
    assert len(first.select(leaves)) == first.leaves
    assert tree_hash([x.sha256 for x in first.select(leaves)]).hex() == first.root
    assert {x.part for x in second.select(leaves)} == {1}
    found = check(shop.evidence())
    assert found.untouched
    assert {e["root"] for e in found.manifest["tree"]["leaves"]} == {first.id, second.id}


def test_without_a_root_the_file_claims_only_since_export(shop: SealedShop) -> None:
    found = check(shop.evidence())
    assert found.untouched
    assert found.manifest["claim"] == "unchanged since export"
    shop.keeper().look()  # a root that stays inside proves nothing to others
    assert check(shop.evidence()).manifest["claim"] == "unchanged since export"


def test_a_root_that_left_the_shop_is_claimed(shop: SealedShop) -> None:
    shop.keeper(shop.folder / "outside").look()
    claim = check(shop.evidence()).manifest["claim"]
    assert claim.startswith("unchanged since the daily roots left the shop, if they are the ones")


def test_readings_that_are_not_sealed_are_there_and_claimed_since_export(tmp_path: Path) -> None:
    with sealed_shop(tmp_path, seal=False) as shop:
        found = check(shop.evidence())
    assert found.untouched
    assert found.manifest["tree"]["leaves"] == []
    assert found.manifest["tree"]["unsealed"] == 3 * 22 * 60 * 5


def test_a_reading_changed_in_the_store_is_found_by_its_leaf(shop: SealedShop) -> None:
    tamper(shop, leaf_too=False)
    found = check(shop.evidence())
    assert not found.untouched
    assert [f.part for f in found.faults] == ["attachment readings.csv"]
    assert "changed in the store after it was sealed" in found.faults[0].text
    assert found.manifest["faults"]


def test_a_reading_changed_with_its_leaf_is_found_by_the_daily_root(shop: SealedShop) -> None:
    shop.keeper(shop.folder / "outside").look()
    tamper(shop, leaf_too=True)
    found = check(shop.evidence())
    assert not found.untouched
    assert f"does not belong to the daily root {DAY_OF_WELD}.1" in found.faults[0].text
    assert found.manifest["claim"].startswith("unchanged since export; the store itself")


def test_what_leaves_the_shop_is_signed_and_names_the_root(shop: SealedShop) -> None:
    outside = shop.folder / "outside"
    (root,) = shop.keeper(outside).look()
    letter = json.loads((outside / f"steadybead-north-{root.id}.root.json").read_text())
    key = public_bytes(signing_key(shop.folder))
    signed = json.loads(verify(letter.pop("signature"), key))
    assert signed == letter
    assert letter["sha256"] == root.root
    (kept,) = RootBook(shop.folder).roots()
    assert kept.left.endswith("by file drop")


def test_a_drop_that_fails_is_tried_again(shop: SealedShop) -> None:
    outside = shop.folder / "outside"
    outside.write_text("in the way")
    keeper = shop.keeper(outside)
    with pytest.raises(OSError, match=r"exists|Not a directory"):
        keeper.look()
    assert not RootBook(shop.folder).roots()[0].left
    outside.unlink()
    keeper.look()
    assert RootBook(shop.folder).roots()[0].left


def test_a_damaged_root_is_told_with_its_file(shop: SealedShop) -> None:
    shop.keeper().look()
    path = shop.folder / "roots" / f"{DAY_OF_WELD}.1.json"
    path.write_text("{}")
    with pytest.raises(RootError, match=path.name):
        RootBook(shop.folder).roots()


def test_the_key_is_its_owners_alone_and_made_once(tmp_path: Path) -> None:
    first = signing_key(tmp_path)
    path = tmp_path / "keys" / PRIVATE
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert public_bytes(signing_key(tmp_path)) == public_bytes(first)
    assert read_public(tmp_path / "keys" / "evidence-key.pub.pem") == public_bytes(first)
    path.chmod(0o644)
    with pytest.raises(SigningKeyError, match="chmod 600"):
        signing_key(tmp_path)
    path.chmod(0o600)
    path.write_text("no key")
    with pytest.raises(SigningKeyError, match="restore it"):
        signing_key(tmp_path)


def test_what_is_no_public_key_is_told(tmp_path: Path) -> None:
    path = tmp_path / "key.pem"
    path.write_bytes(b"\x00nonsense")
    with pytest.raises(SigningKeyError, match="no Ed25519 public key"):
        read_public(path)


def test_raw_readings_come_back_bit_for_bit(shop: SealedShop) -> None:
    rows = noisy(0.1, 1e-9, 1, 3)
    odd = np.array([5e-324, 1.7976931348623157e308, -0.0, 0.1 + 0.2, 1e-7, 123456789.12345679])
    rows.value[:6] = odd
    groups = [Group(NOZZLE, T0, 0, rows), Group(FLOW, T0, 1, rows.take(slice(0, 0)))]
    (back,) = read_groups(write_groups(groups))
    assert back.rows.value.tobytes() == rows.value.tobytes()
    assert back.rows.time.tobytes() == rows.time.tobytes()
    assert leaf_hash(NOZZLE, T0, 0, back.rows) == leaf_hash(NOZZLE, T0, 0, rows)
    assert len(shop.readings.sealed(NOZZLE, T0, T0 + 20 * MINUTE)) == 2


def test_a_root_leaves_by_message_too_and_each_way_on_its_own(shop: SealedShop) -> None:
    receiver = Receiver("quality", frozenset({"quality"}))
    message = NoticeWay(NotifyTarget(receiver, folder="letters"), shop.folder)
    blocked = shop.folder / "outside"
    blocked.write_text("in the way")
    ways = (message, FolderWay(blocked))
    keeper = RootKeeper(shop.readings, shop.folder, "north", ways, shop.clock)
    with pytest.raises(OSError, match=r"exists|Not a directory"):
        keeper.look()
    (letter,) = (shop.folder / "letters").glob("*.eml")
    assert RootBook(shop.folder).roots()[0].root in letter.read_text()
    blocked.unlink()
    keeper.look()
    assert len(list((shop.folder / "letters").glob("*.eml"))) == 1
    left = RootBook(shop.folder).roots()[0].left
    assert "by message to quality" in left
    assert "by file drop" in left


def test_a_chain_of_roots_follows_the_order_of_making_and_shows_a_hole(shop: SealedShop) -> None:
    book, start = RootBook(shop.folder), day_start(DAY_OF_WELD)
    leaves = shop.readings.leaves(start, start + DAY)
    moved = [replace(x, start=x.start + DAY) for x in leaves]
    made = [
        book.add(DAY_OF_WELD, leaves[:6], 1 * SECOND),
        book.add("2026-05-05", moved, 2 * SECOND),
        book.add(DAY_OF_WELD, leaves, 3 * SECOND),  # late, of the day before
        book.add("2026-05-06", [replace(x, start=x.start + 2 * DAY) for x in leaves], 4 * SECOND),
    ]
    roots = [r for r in made if r is not None]
    assert [r.previous for r in roots[1:]] == [r.sha256 for r in roots[:-1]]
    assert book.faults() == []
    (book.folder / f"{roots[1].id}.json").unlink()
    faults = " ".join(book.faults())
    assert f"root {roots[2].id} follows a root that is not there" in faults
    assert f"no root follows {roots[0].id}" in faults


def test_an_outsider_holds_the_root_that_was_received_against_the_file(
    shop: SealedShop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    outside = shop.folder / "outside"
    (root,) = shop.keeper(outside).look()
    letter = outside / f"steadybead-north-{root.id}.root.json"
    file = tmp_path / "weld.pdf"
    file.write_bytes(shop.evidence())
    mail = tmp_path / "mail.txt"
    mail.write_text(f"Subject: Daily root\n\n{letter.read_text()}\n-- \nthe shop\n")
    assert verify_file(file, None, [letter, mail]) == 0
    assert "it is the one that was received" in capsys.readouterr().out
    tamper(shop, leaf_too=True)
    for path in (shop.folder / "roots").iterdir():
        path.unlink()
    shop.keeper().look()  # the shop makes the day's root again, over what it changed
    file.write_bytes(shop.evidence())
    assert verify_file(file, None, []) == 0  # by itself the file is sound
    assert verify_file(file, None, [letter]) == 1
    assert "names another hash than the one that was received" in capsys.readouterr().out


def test_a_letter_that_was_changed_or_is_of_another_shop_is_told(
    shop: SealedShop, tmp_path: Path
) -> None:
    outside = shop.folder / "outside"
    (root,) = shop.keeper(outside).look()
    text = (outside / f"steadybead-north-{root.id}.root.json").read_text()
    file, letter = tmp_path / "weld.pdf", tmp_path / "letter.json"
    file.write_bytes(shop.evidence())
    for wrong in (text.replace(root.root[:8], "00000000"), "{}", "no letter", "[" * 9999, '{"a":'):
        letter.write_text(wrong)
        with pytest.raises(PlainError, match="no daily root"):
            verify_file(file, None, [letter])
    with sealed_shop(tmp_path / "other") as other:
        other.keeper(tmp_path / "theirs").look()
    (theirs,) = (tmp_path / "theirs").iterdir()
    assert verify_file(file, None, [theirs]) == 1
