"""What fuzzing found, each as the smallest input that showed it (`make fuzz`)."""

import base64
import io
import json
import re
import struct
import zlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from pcodec import ChunkConfig, DeltaSpec, standalone

from calibration_samples import FITTING
from fakes_ingest import NOW
from plants_ingest import PLANT, plant_file
from steadybead_api.evidence.check import Fault, check
from steadybead_api.evidence.letters import read_letter
from steadybead_api.evidence.seal import SLOT_BYTES, empty_slot, find_slot
from steadybead_collector import analyse_drift as analyse_module
from steadybead_collector.analyse_drift import analyse_drift
from steadybead_collector.config import PlantFileError, load_plant_file
from steadybead_collector.config.problems import Problem
from steadybead_collector.drift_log import read_drift_log
from steadybead_collector.evidence.keys import SigningKeyError, read_public, signing_key
from steadybead_collector.ingest.weld_message import WeldMessageError, read_weld
from steadybead_collector.records.procedure_file import read_procedures
from steadybead_collector.stores import journal_codec, packed
from steadybead_collector.stores.inflate import inflate
from steadybead_domain.calibration.codec import fitting_from_json, to_json
from steadybead_domain.diagnosis.shift_figures import StateFigures, StateReader
from steadybead_domain.diagnosis.steady import SteadyState
from steadybead_domain.errors import PlainError, one_line
from steadybead_domain.evidence.jws import canonical, sign
from steadybead_domain.ids import StationId
from steadybead_domain.ports import StoreError
from steadybead_domain.times import BadTimeError, format_rfc3339, parse_rfc3339
from steadybead_simulator import demo
from steadybead_simulator.places import Document, FileError
from steadybead_simulator.plantfile import parse_plant
from steadybead_simulator.scenario_file import parse_scenario
from store_samples import steady

KEY = Ed25519PrivateKey.from_private_bytes(b"\7" * 32)
EVER = -(2**63), 2**63 - 1


@pytest.mark.parametrize("event", [["start"], {"start": 1}, None, 5])
def test_a_weld_message_whose_event_is_no_text_is_refused(event: object) -> None:
    said = {"event": event, "gun": "a", "time": "2026-05-04T07:30:00Z"}
    with pytest.raises(WeldMessageError, match="not start or stop"):
        read_weld(json.dumps(said).encode(), StationId("north", "bay-1"), NOW)


@pytest.mark.parametrize("text", ["9999-12-31T23:59:59-00:01", "0001-01-01T00:00:00+00:01"])
def test_a_time_that_utc_has_no_year_for_is_refused(text: str) -> None:
    with pytest.raises(BadTimeError, match="1 to 9999"):
        parse_rfc3339(text)


@pytest.mark.parametrize("text", ["9999-12-31T23:59:59.999999Z", "0001-01-01T00:00:00.000000Z"])
def test_the_first_and_the_last_time_can_be_written(text: str) -> None:
    assert format_rfc3339(parse_rfc3339(text)) == text


@pytest.mark.parametrize("channel", [5, True, ["north/bay-1/gun-a/nozzle"]])
def test_a_stored_channel_that_is_no_text_is_refused(channel: object) -> None:
    with pytest.raises(TypeError, match="no text"):
        fitting_from_json({**to_json(FITTING), "channel": channel})


def journal_row() -> bytes:
    rows = steady(3)
    ids, starts = np.array([7], np.int64), np.array([0, 3], np.int64)
    return journal_codec.encode(ids, starts, rows)


@pytest.mark.parametrize("place", [4, 8, 12, 16])  # channels, readings, the channel, its readings
def test_a_journal_row_whose_counts_are_wrong_is_damaged(place: int) -> None:
    changed = bytearray(journal_row()[:-4])
    changed[place] += 90
    data = bytes(changed) + struct.pack("<I", zlib.crc32(changed))
    if place == 12:
        assert journal_codec.decode(data)[0].tolist() == [97]
        return
    with pytest.raises(StoreError, match="damaged"):
        journal_codec.decode(data)


@pytest.mark.parametrize("place", [4, 7])  # the lowest and the highest byte of the count
def test_a_chunk_whose_count_is_wrong_is_damaged_and_asks_for_no_memory(place: int) -> None:
    data = bytearray(packed.pack(steady(1)))
    data[place] = 0x7F
    with pytest.raises(StoreError, match="damaged"):
        packed.unpack([bytes(data)], *EVER)


def test_a_chunk_cut_short_is_damaged_wherever_it_is_cut() -> None:
    for rows in (steady(1), steady(60)):
        data = packed.pack(rows)
        for end in range(len(data)):
            with pytest.raises(StoreError):
                packed.unpack([data[:end]], *EVER)


def test_a_chunk_whose_values_are_said_to_be_themselves_is_damaged() -> None:
    data = bytearray(packed.pack(steady(60)))
    data[13] = packed.Coding.AS_VALUE
    with pytest.raises(StoreError, match="damaged"):
        packed.unpack([bytes(data)], *EVER)


LONG = f"x = {'9' * 5000}\n"


def test_a_number_of_thousands_of_digits_in_a_file_is_refused(tmp_path: Path) -> None:
    path = plant_file(tmp_path, LONG)
    with pytest.raises(PlantFileError, match="thousands of digits"):
        load_plant_file(path)
    with pytest.raises(StoreError, match=r"procedures plant\.toml"):
        read_procedures(path)
    with pytest.raises(FileError, match=r"plant\.toml: no TOML"):
        parse_plant("plant.toml", LONG)


def test_deep_nesting_in_a_file_is_refused(tmp_path: Path) -> None:
    text = "x = " + "[" * 5000
    with pytest.raises(FileError, match=r"plant\.toml: no TOML"):
        parse_plant("plant.toml", text)
    with pytest.raises(StoreError, match=r"procedures plant\.toml"):
        read_procedures(plant_file(tmp_path, text))


@pytest.mark.parametrize("missing", ["form", "bytes", "slot", "sha256", "parts"])
def test_a_signed_statement_without_one_of_its_members_is_none(missing: str) -> None:
    data = b"%PDF-1.7\n" + empty_slot() + b"%%EOF\n"
    start, end = find_slot(data)
    stated = {"form": "steadybead evidence 1", "bytes": 1, "slot": [], "sha256": "", "parts": []}
    del stated[missing]
    token = sign(canonical(stated), KEY).encode().ljust(SLOT_BYTES)
    found = check(data[:start] + token + data[end:])
    assert [fault.part for fault in found.faults] == ["signature"]


@pytest.mark.parametrize("member", ["root", "sha256", "signature"])
def test_a_daily_root_without_its_name_is_none(tmp_path: Path, member: str) -> None:
    body = {"root": "2026-05-04", "sha256": "00"}
    letter = {k: v for k, v in body.items() if k != member}
    if member != "signature":
        letter["signature"] = sign(canonical(letter), KEY)
    path = tmp_path / "root.json"
    path.write_text(json.dumps(letter), "utf-8")
    with pytest.raises(PlainError, match="no daily root"):
        read_letter(path)


def test_two_rows_years_apart_are_not_walked_step_by_step(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time_s,nozzle_c,flow_l_min\n0,320,51\n150000000,320,51\n", "utf-8")
    blocks = sum(1 for _ in analyse_module._blocks(read_drift_log(path)))
    assert blocks < 30  # of 41,672 that lie between them


def test_a_pause_that_is_passed_over_changes_no_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{t},{320 + t % 7 / 10},51,900" for d in (0, 2) for t in _shift(d)]
    path.write_text("time_s,nozzle_c,flow_l_min,power_w\n" + "\n".join(rows), "utf-8")
    told = []
    for quiet in (analyse_module._QUIET, 10**9):
        monkeypatch.setattr(analyse_module, "_QUIET", quiet)
        out = io.StringIO()
        assert analyse_drift(path, out) == 0
        told.append(out.getvalue())
    assert told[0] == told[1]
    assert told[0].count("\n") >= 2


def _hourly(path: Path) -> None:
    rows = (f"{3600 * i},{320 + i % 3},{51 + i % 2},{900 + i % 5}" for i in range(60))
    path.write_text("time_s,nozzle_c,flow_l_min,power_w\n" + "\n".join(rows), "utf-8")


def test_of_hourly_rows_each_steady_state_is_read_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, out = tmp_path / "log.csv", io.StringIO()
    read: list[int] = []
    _hourly(path)
    plain = StateReader.read

    def counted(reader: StateReader, states: Sequence[SteadyState]) -> list[StateFigures]:
        read.extend(s.start for s in states)
        return plain(reader, states)

    monkeypatch.setattr(StateReader, "read", counted)
    assert analyse_drift(path, out) == 0
    told = [line for line in map(json.loads, out.getvalue().splitlines()) if line["nozzle_c"]]
    assert len(read) == len(set(read)) == len(told) > 500


def test_how_many_hours_are_walked_at_once_changes_no_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, told = tmp_path / "log.csv", []
    _hourly(path)
    for hours in (1, 4, 7):
        monkeypatch.setattr(analyse_module, "AT_ONCE", hours)
        out = io.StringIO()
        assert analyse_drift(path, out) == 0
        told.append(out.getvalue())
    assert told[0] == told[1] == told[2]
    assert '"residual_w": null' not in told[0].splitlines()[-1]


def _shift(day: int) -> range:
    return range(day * 86_400, day * 86_400 + 3600, 5)


def demo_day() -> str:
    return (Path(demo.__file__).parent / "scenario.toml").read_text("utf-8")


@pytest.mark.parametrize("name", ["'''a\nb'''", f'"{"1" * 9000}"'])
def test_a_name_of_a_scenario_neither_breaks_nor_fills_the_message(name: str) -> None:
    text = demo_day().replace('name = "w-12"', f"name = {name}")
    with pytest.raises(FileError, match=r"no \[\[welder\]\] named 'w-12'") as refused:
        parse_scenario("day.toml", text, demo.load()[0])
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 1000


def test_a_time_of_a_fault_is_a_finite_number() -> None:
    text = demo_day().replace('at = "70 s"', f'at = "{"9" * 400} s"')
    with pytest.raises(FileError, match="larger than any number"):
        parse_scenario("day.toml", text, demo.load()[0])


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ('url_file = "\\u0000"', "cannot be read"),
        (f"url_env = 'U'\nafter_min = {'9' * 400}", "after_min is not a number"),
    ],
)
def test_a_plant_file_with_what_no_file_and_no_number_can_be_is_refused(
    tmp_path: Path, line: str, what: str
) -> None:
    text = f'{PLANT}\n[[notify]]\nname = "welders"\nroles = ["welder"]\n{line}\n'
    with pytest.raises(PlantFileError) as refused:
        load_plant_file(plant_file(tmp_path, text))
    assert what in str(refused.value)


def test_a_name_in_a_stranger_s_evidence_file_adds_no_line_to_what_is_printed() -> None:
    fault = Fault("daily root 2026\n  untouched", "x" * 9000)
    assert fault.part == "daily root 2026\\n  untouched"
    assert len(fault.text) < 700
    assert one_line("±5 K, 20 °C") == "±5 K, 20 °C"


@pytest.mark.parametrize("at", [6, 7])  # the power of two and the digits of the codec's own count
def test_a_packed_column_that_declares_another_count_is_damaged(at: int) -> None:
    numbers = np.arange(7, dtype="<i4") ** 3
    data = bytearray(standalone.simple_compress(numbers, ChunkConfig()))
    assert inflate(bytes(data), 7, numbers.dtype).tolist() == numbers.tolist()
    data[at] ^= 0x3F if at == 6 else 0x7E
    with pytest.raises(StoreError, match="damaged"):
        inflate(bytes(data), 7, numbers.dtype)


def test_a_packed_column_that_looks_back_in_a_window_is_damaged() -> None:
    numbers = np.tile(np.arange(50, dtype="<i8") ** 3, 20)
    config = ChunkConfig(delta_spec=DeltaSpec.try_lookback())
    data = standalone.simple_compress(numbers, config)
    assert np.array_equal(standalone.simple_decompress(data), numbers)
    with pytest.raises(StoreError, match="damaged"):
        inflate(data, 1000, numbers.dtype)


@pytest.mark.parametrize("n", [1, 2, 300, 2**18, 2**18 + 1])
def test_a_packed_column_of_any_length_comes_back(n: int) -> None:
    for numbers in (np.arange(n) * 0.1, np.arange(n) * 7, np.ones(n, "<u2")):
        data = standalone.simple_compress(numbers, ChunkConfig())
        assert np.array_equal(inflate(data, n, numbers.dtype), numbers)


def test_a_scenario_s_number_beyond_all_floats_is_refused_with_its_line() -> None:
    document = Document("shop.toml", f"[a]\nwide = {'9' * 400}\n")
    with pytest.raises(FileError, match="line 2: wide is a number above 0"):
        document.number(("a", "wide"), document.data["a"])


def test_a_line_break_in_a_name_adds_no_line_to_a_plant_file_s_mistakes() -> None:
    said = str(Problem(3, "channel 'gun-a\nline 9: all is well'", "give it another name"))
    assert said == "line 3: channel 'gun-a\\nline 9: all is well': give it another name"


def of_another_kind(der: bytes, what: str) -> str:
    """Give a key's PEM with an object identifier that names no algorithm."""
    changed = base64.b64encode(der.replace(b"\x06\x03\x2b\x65\x70", b"\x06\x03\x2b\x65\x7f"))
    return f"-----BEGIN {what} KEY-----\n{changed.decode()}\n-----END {what} KEY-----\n"


def test_a_public_key_of_an_unknown_kind_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "key.pem"
    der = KEY.public_key().public_bytes(
        serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    path.write_text(of_another_kind(der, "PUBLIC"), "ascii")
    with pytest.raises(SigningKeyError, match="no Ed25519 public key"):
        read_public(path)


def test_a_signing_key_of_an_unknown_kind_is_refused(tmp_path: Path) -> None:
    signing_key(tmp_path)
    [path] = [p for p in (tmp_path / "keys").iterdir() if p.name == "evidence-key.pem"]
    der = KEY.private_bytes(
        serialization.Encoding.DER,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    path.write_text(of_another_kind(der, "PRIVATE"), "ascii")
    with pytest.raises(SigningKeyError, match="no Ed25519 key"):
        signing_key(tmp_path)


def test_a_page_that_uses_the_common_parts_imports_them() -> None:
    folder = Path(__file__).resolve().parents[2] / "dashboards/steadybead_dashboards/templates"
    texts = {path.name: path.read_text("utf-8") for path in folder.glob("*.html")}
    using = {
        name for name, text in texts.items() if re.search(r"[{( ]parts\.(?!html|css)\w+\(", text)
    }
    assert using
    assert {n for n in using if 'import "parts.html" as parts' not in texts[n]} == set()
