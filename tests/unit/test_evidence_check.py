"""The evidence file: whatever is changed in it is found, named, and never a traceback."""

import hashlib
import json
import zlib
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from evidence_shop import sealed_shop
from steadybead_api.evidence.check import Checked, check
from steadybead_api.evidence.seal import BEGIN, SLOT_BYTES, find_slot, parts_of, seal
from steadybead_collector.evidence.keys import signing_key
from steadybead_domain.evidence.jws import canonical, open_token, public_bytes, sign

ATTACHED = {
    "alarms.json",
    "amendments.json",
    "instruments.json",
    "manifest.json",
    "plant.json",
    "procedure.json",
    "readings.csv",
    "record.json",
    "uncertainty.json",
    "verdict.json",
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[bytes, bytes]]:
    """Give a file and the public key of its shop."""
    folder = tmp_path_factory.mktemp("evidence")
    with sealed_shop(folder) as shop:
        shop.keeper(folder / "drop").look()
        yield shop.evidence(), public_bytes(signing_key(folder))


def parts(found: Checked) -> set[str]:
    return {fault.part for fault in found.faults}


def flipped(data: bytes, place: int, bit: int) -> bytes:
    changed = bytearray(data)
    changed[place] ^= 1 << bit
    return bytes(changed)


def test_an_untouched_file_is_untouched(made: tuple[bytes, bytes]) -> None:
    data, key = made
    found = check(data, key)
    assert found.untouched
    assert found.signer_checked
    assert not check(data).signer_checked
    assert {a["name"] for a in found.manifest["attachments"]} == ATTACHED - {"manifest.json"}
    assert "claim: unchanged since the daily roots left the shop" in " ".join(found.facts)


def test_the_parts_cover_every_byte_but_the_slot_once(made: tuple[bytes, bytes]) -> None:
    data, _ = made
    covered = sorted((p.start, p.end) for p in parts_of(data))
    slot = find_slot(data)
    assert covered[0][0] == 0
    assert covered[-1][1] == len(data)
    holes = [(a[1], b[0]) for a, b in pairwise(covered) if a[1] != b[0]]
    assert holes == [slot]
    assert slot[1] - slot[0] == SLOT_BYTES


def test_every_bit_of_head_slot_and_tail_counts(made: tuple[bytes, bytes]) -> None:
    data, _ = made
    start, end = find_slot(data)
    token_end = start + len(data[start:end].rstrip(b" "))
    places = [
        *range(60),
        *range(start - len(BEGIN) - 8, start + 200),
        *range(token_end - 200, token_end + 40),
        *range(end - 8, end + 60),
        *range(len(data) - 300, len(data)),
    ]
    missed = [
        (place, bit)
        for place in places
        for bit in range(8)
        if check(flipped(data, place, bit)).untouched
    ]
    assert missed == []


@settings(max_examples=250, deadline=None)
@given(where=st.floats(0.0, 1.0, exclude_max=True), bit=st.integers(0, 7))
def test_any_single_bit_counts(made: tuple[bytes, bytes], where: float, bit: int) -> None:
    data, _ = made
    assert not check(flipped(data, int(where * len(data)), bit)).untouched


@settings(max_examples=60, deadline=None)
@given(where=st.floats(0.0, 1.0, exclude_max=True), bit=st.integers(0, 7))
def test_any_bit_inside_the_token_counts(made: tuple[bytes, bytes], where: float, bit: int) -> None:
    data, _ = made
    start, end = find_slot(data)
    length = len(data[start:end].rstrip(b" "))
    found = check(flipped(data, start + int(where * length), bit))
    assert parts(found) == {"signature"}


def test_each_part_is_named_when_it_is_changed(made: tuple[bytes, bytes]) -> None:
    data, _ = made
    for part in parts_of(data):
        found = check(flipped(data, (part.start + part.end) // 2, 0))
        expected = {part.name, "signature"} if "signature.jws" in part.name else {part.name}
        assert parts(found) & expected, part
    named = {p.name for p in parts_of(data)}
    assert {f"attachment {name}" for name in ATTACHED} < named
    assert {"pages of the report", "table and trailer", "head of the file"} < named


@pytest.mark.parametrize("keep", [0, 1, 7, 1000, 150_000, -1, -2000])
def test_a_cut_file_is_found(made: tuple[bytes, bytes], keep: int) -> None:
    data, _ = made
    found = check(data[:keep])
    assert not found.untouched


@pytest.mark.parametrize("more", [b"\n", b" ", b"%%EOF\n", b"x" * 5000])
def test_an_appended_file_is_found(made: tuple[bytes, bytes], more: bytes) -> None:
    found = check(made[0] + more)
    assert parts(found) == {"end of the file"}
    assert f"{len(more)} bytes were added" in found.faults[0].text


def test_an_incremental_update_after_the_end_is_found(made: tuple[bytes, bytes]) -> None:
    data, _ = made
    update = b"\n1 0 obj\n<< >>\nendobj\nxref\n0 1\ntrailer\n<< >>\nstartxref\n0\n%%EOF\n"
    assert not check(data + update).untouched


def test_a_second_signature_frame_is_found(made: tuple[bytes, bytes]) -> None:
    data, _ = made
    start, end = find_slot(data)
    assert not check(data + data[start - len(BEGIN) : end + 60]).untouched


def test_a_signature_of_another_file_is_found(made: tuple[bytes, bytes], tmp_path: Path) -> None:
    data, _ = made
    with sealed_shop(tmp_path, cold=False) as shop:
        other = shop.evidence()
    start, end = find_slot(data)
    other_start, other_end = find_slot(other)
    found = check(data[:start] + other[other_start:other_end] + data[end:])
    assert not found.untouched


def attachment(data: bytes, name: str) -> tuple[int, int]:
    return next((p.start, p.end) for p in parts_of(data) if p.name == f"attachment {name}")


def test_swapped_attachments_are_found(made: tuple[bytes, bytes]) -> None:
    data, _ = made
    one, two = attachment(data, "alarms.json"), attachment(data, "plant.json")
    first, second = sorted((one, two))
    swapped = (
        data[: first[0]]
        + data[second[0] : second[1]]
        + data[first[1] : second[0]]
        + data[first[0] : first[1]]
        + data[second[1] :]
    )
    assert len(swapped) == len(data)
    assert not check(swapped).untouched


def test_who_signs_again_with_another_key_is_found_by_the_key(
    made: tuple[bytes, bytes],
) -> None:
    data, key = made
    start, end = find_slot(data)
    empty = data[:start] + b" " * SLOT_BYTES + data[end:]
    forged = seal(empty, parts_of(data), Ed25519PrivateKey.generate())
    assert check(forged).untouched  # without a key nobody can know
    assert check(forged).fingerprint != check(data).fingerprint
    assert parts(check(forged, key)) == {"signer"}


def resealed(data: bytes, name: str, content: bytes) -> bytes:
    """Put another content of the same packed length into an attachment, and sign it all again."""
    start, end = attachment(data, name)
    part = data[start:end]
    begin = part.find(b"stream\n") + len(b"stream\n")
    stop = part.rfind(b"\nendstream")
    packed = zlib.compress(content, 9)
    assert len(packed) <= stop - begin
    padded = part[:begin] + packed.ljust(stop - begin, b"\x00") + part[stop:]
    changed = data[:start] + padded + data[end:]
    slot = find_slot(changed)
    empty = changed[: slot[0]] + b" " * SLOT_BYTES + changed[slot[1] :]
    return seal(empty, parts_of(empty), Ed25519PrivateKey.generate())


def content_of(data: bytes, name: str) -> bytes:
    start, end = attachment(data, name)
    part = data[start:end]
    begin = part.find(b"stream\n") + len(b"stream\n")
    return zlib.decompress(part[begin : part.rfind(b"\nendstream")])


def test_an_attachment_that_the_manifest_does_not_list_is_found(
    made: tuple[bytes, bytes],
) -> None:
    data, _ = made
    record = content_of(data, "record.json").replace(b'"4711"', b'"4712"')
    found = check(resealed(data, "record.json", record))
    assert parts(found) == {"attachment record.json"}


def test_readings_that_do_not_belong_to_their_leaf_are_found(
    made: tuple[bytes, bytes],
) -> None:
    """Whoever signs again cannot pass other readings off under a leaf and a root."""
    data, _ = made
    rows = content_of(data, "readings.csv").splitlines(keepends=True)
    cells = rows[100].split(b",")
    rows[100] = b",".join([*cells[:4], b"300", *cells[5:]])
    forged = resealed(data, "readings.csv", b"".join(rows))
    found = check(forged)
    assert "attachment readings.csv" in parts(found)


NASTY = [b"", b"\x00" * 4096, b"%PDF-1.7\n%%EOF\n", b"{}" * 9, BEGIN * 2, BEGIN + b" " * SLOT_BYTES]


@pytest.mark.parametrize("data", NASTY)
def test_what_is_no_evidence_file_has_an_answer(data: bytes) -> None:
    found = check(data)
    assert not found.untouched
    assert found.faults[0].text


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=3000))
def test_any_bytes_have_an_answer(data: bytes) -> None:
    assert not check(BEGIN + data.ljust(SLOT_BYTES)[:SLOT_BYTES] + b"\n-----END").untouched
    assert not check(data).untouched


def test_a_sound_signature_over_nonsense_has_an_answer(made: tuple[bytes, bytes]) -> None:
    data, _ = made
    start, end = find_slot(data)
    key = Ed25519PrivateKey.generate()
    for value in ([], {}, {"form": "steadybead evidence 1"}, {"form": 3, "parts": 7}, "x"):
        token = sign(canonical(value), key).encode().ljust(SLOT_BYTES)
        assert parts(check(data[:start] + token + data[end:])) == {"signature"}
    stated = json.loads(_payload(data))
    stated["parts"] = []
    token = sign(canonical(stated), key).encode().ljust(SLOT_BYTES)
    found = check(data[:start] + token + data[end:])
    assert not found.untouched


def _payload(data: bytes) -> bytes:
    start, end = find_slot(data)
    return open_token(data[start:end].decode().rstrip(" ")).payload


def test_the_statement_is_about_these_very_bytes(made: tuple[bytes, bytes]) -> None:
    data, _ = made
    start, end = find_slot(data)
    stated = json.loads(_payload(data))
    assert stated["bytes"] == len(data)
    assert stated["sha256"] == hashlib.sha256(data[:start] + data[end:]).hexdigest()


def test_the_same_store_at_the_same_time_gives_the_same_bytes(tmp_path: Path) -> None:
    with sealed_shop(tmp_path) as shop:
        data = shop.evidence()
        assert data == shop.evidence()
    for name in (b"CreateDate", b"ModifyDate", b"MetadataDate"):
        assert name + b'="2026-05-06T07:30:00+00:00"' in data  # the shop's clock, not ours
