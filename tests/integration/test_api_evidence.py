"""Verdict and evidence over HTTP; the file in the hands of three foreign readers."""

import io
import json
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import pikepdf
import pypdf
import pytest
from pdfminer.high_level import extract_text
from prometheus_client import CollectorRegistry

from api_shop import NOZZLE, T0, client_of, create_app
from evidence_shop import WELD, SealedShop, sealed_shop
from steadybead_api.evidence.check import check
from steadybead_collector.evidence.keys import PRIVATE
from steadybead_domain.evidence.jws import public_bytes, thumbprint
from steadybead_domain.people import Role
from steadybead_domain.times import SECOND
from steadybead_domain.welds import WeldEvent, WeldEventKind

API = "/api/v1"
pytestmark = pytest.mark.anyio


@pytest.fixture(scope="module")
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SealedShop]:
    with sealed_shop(tmp_path_factory.mktemp("shop")) as opened:
        yield opened


@pytest.fixture
async def client(shop: SealedShop) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(shop.app) as opened:
        opened.headers.update(shop.token())
        yield opened


@pytest.fixture(scope="module")
def pdf(shop: SealedShop) -> bytes:
    return shop.evidence()


async def test_a_verdict_has_rule_reasons_excursions_and_places(client: httpx.AsyncClient) -> None:
    told = (await client.get(f"{API}/welds/{WELD}/verdict")).json()
    assert told["verdict"] == "does not conform"
    assert "JCGM 106" in told["rule"]["words"]
    (excursion,) = told["excursions"]
    assert (excursion["side"], excursion["peak"]) == ("below", 250.0)
    assert excursion["start"] == "2026-05-04T07:35:00.000000Z"
    assert excursion["length_s"] == pytest.approx(20.0, abs=0.3)
    heat, air = told["quantities"]
    assert (heat["conclusion"], air["conclusion"]) == ("does not conform", "conforms")
    assert heat["guarded"]["guard"] == pytest.approx(6.57, abs=0.05)
    assert told["seam"]["stretches"][0]["start_mm"] == pytest.approx(1250.0, abs=1.0)
    assert told["not_proven"]


async def test_whoever_may_not_read_gets_no_verdict_and_no_file(shop: SealedShop) -> None:
    async with client_of(shop.app) as stranger:
        for what in ("verdict", "evidence"):
            answer = await stranger.get(f"{API}/welds/{WELD}/{what}")
            assert (answer.status_code, answer.json()["type"][-5:]) == (401, "login")


async def test_no_such_record_is_a_problem(client: httpx.AsyncClient) -> None:
    for what in ("verdict", "evidence", "cut-plans"):
        answer = await client.get(f"{API}/welds/nowhere/{what}")
        assert answer.status_code == 404
        assert answer.headers["content-type"] == "application/problem+json"


async def test_a_running_record_and_one_overtaken_cannot_be_told(shop: SealedShop) -> None:
    started = shop.clock() - 30 * 60 * SECOND
    for i, name in enumerate(("w-never-stopped", "w-running")):
        event = WeldEvent(
            WeldEventKind.START,
            name,
            shop.weld.station,
            "b",
            started + i * SECOND * 60,
            "Ana",
            "test",
            "pp-speed-nozzle",
            1,
        )
        shop.records.welds.add(event)
    async with client_of(shop.app) as opened:
        opened.headers.update(shop.token())
        first = (await opened.get(f"{API}/welds/w-never-stopped/verdict")).json()
        second = (await opened.get(f"{API}/welds/w-running/verdict")).json()
        assert (await opened.get(f"{API}/welds/w-running/evidence")).status_code == 200
    assert (first["verdict"], second["verdict"]) == ("cannot tell", "cannot tell")
    assert "stop not told" in [r["why"] for r in first["reasons"]]
    whys = [r["why"] for r in second["reasons"]]
    assert "not stopped" in whys
    assert "no channel" in whys  # gun b has no flow meter


async def test_the_file_can_be_fetched_and_checked(
    client: httpx.AsyncClient, shop: SealedShop
) -> None:
    answer = await client.get(f"{API}/welds/{WELD}/evidence")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    key = await client.get(f"{API}/evidence-key")
    assert key.text.startswith("-----BEGIN PUBLIC KEY-----")
    found = check(answer.content)
    assert found.untouched
    assert found.fingerprint == key.headers["x-fingerprint"]
    assert len(key.headers["x-fingerprint"]) == len(thumbprint(bytes(32)))
    assert public_bytes is not None
    assert shop.folder.joinpath("keys", PRIVATE).exists()


async def test_a_key_that_others_can_read_is_refused_with_the_remedy(tmp_path: Path) -> None:
    with sealed_shop(tmp_path) as shop:
        shop.evidence()
        (tmp_path / "keys" / PRIVATE).chmod(0o644)
        async with client_of(shop.app) as opened:
            opened.headers.update(shop.token())
            answer = await opened.get(f"{API}/welds/{WELD}/evidence")
    assert answer.status_code == 503
    assert "chmod 600" in answer.json()["detail"]


async def test_the_welder_is_named_to_quality_alone(shop: SealedShop) -> None:
    async with client_of(shop.app) as opened:
        for role, seen in ((Role.QUALITY, "Ana"), (Role.MAINTENANCE, None)):
            headers = shop.token(role)
            data = (await opened.get(f"{API}/welds/{WELD}/evidence", headers=headers)).content
            record = json.loads(attached(data)["record.json"])
            assert record["welder"] == seen
            assert ("Ana" in extract_text(io.BytesIO(data))) is (seen is not None)


async def test_reach_is_told_before_a_procedure_is_assigned(client: httpx.AsyncClient) -> None:
    address = f"{API}/stations/north/bay-1/reach"
    round_nozzle = await client.get(f"{address}?gun=a&procedure=pp-round-nozzle")
    heat = round_nozzle.json()["items"][0]
    assert heat["can_conform"] is False
    assert "can never say" in heat["words"]
    speed = (await client.get(f"{address}?gun=a&procedure=pp-speed-nozzle")).json()["items"][0]
    assert speed["can_conform"] is True
    assert (await client.get(f"{address}?gun=z&procedure=pp-speed-nozzle")).status_code == 404
    assert (await client.get(f"{address}?gun=a&procedure=nothing")).status_code == 404


async def test_a_shop_without_a_data_folder_says_so(shop: SealedShop) -> None:
    bare = replace(shop.services, data_dir=None, registry=CollectorRegistry())
    async with client_of(create_app(bare)) as opened:
        opened.headers.update(shop.token())
        assert (await opened.get(f"{API}/welds/{WELD}/evidence")).status_code == 503


def attached(data: bytes) -> dict[str, bytes]:
    with pikepdf.open(io.BytesIO(data)) as opened:
        return {n: a.get_file().read_bytes() for n, a in opened.attachments.items()}


def violations(opened: pikepdf.Pdf) -> list[Any]:
    """Give what pikepdf's checker of PDF/A-3b finds but for what it does not support."""
    from pikepdf import pdfa  # noqa: PLC0415 - builds grammars for seconds, in every worker

    return [f for f in pdfa.check(opened, "3b").findings if f.kind != "unsupported"]


def test_pikepdf_finds_no_violation_of_pdf_a_3b(pdf: bytes) -> None:
    """What its checker does not support (attachments, OpenAction) it lists as unsupported."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert violations(opened) == []
        meta = opened.open_metadata()
        assert (meta.get("pdfaid:part"), meta.get("pdfaid:conformance")) == ("3", "B")
        assert opened.check_pdf_syntax() == []


def test_three_readers_agree_on_text_and_attachments(pdf: bytes) -> None:
    reader = pypdf.PdfReader(io.BytesIO(pdf), strict=True)
    by_pikepdf = attached(pdf)
    by_pypdf = {name: content[0] for name, content in reader.attachments.items()}
    assert by_pikepdf == by_pypdf
    manifest = json.loads(by_pypdf["manifest.json"])
    assert {a["name"] for a in manifest["attachments"]} == by_pypdf.keys() - {
        "manifest.json",
        "signature.jws",
    }
    for text in (
        extract_text(io.BytesIO(pdf)),
        "\n".join(page.extract_text() for page in reader.pages),
    ):
        for words in (
            "Job 4711",
            "does not conform",
            "JCGM 106",
            "What the log cannot prove",
            "the force on the rod",
            "steadybead verify",
            "never says that a gun",
        ):
            assert words in " ".join(text.split()), words


def test_the_raw_readings_are_all_there(pdf: bytes, shop: SealedShop) -> None:
    rows = attached(pdf)["readings.csv"].splitlines()
    assert rows[0].split(b",")[:5] == [
        b"channel",
        b"window_start_us",
        b"part",
        b"time_us",
        b"value",
    ]
    stored = sum(len(p) for p in shop.readings.read(NOZZLE, T0 - 300 * SECOND, T0 + 1500 * SECOND))
    assert sum(r.startswith(str(NOZZLE).encode()) for r in rows) == stored


async def test_a_record_that_nobody_stopped_for_days_is_not_read_for_ever(shop: SealedShop) -> None:
    event = WeldEvent(WeldEventKind.START, "w-forgotten", shop.weld.station, "c", T0, "Ana", "test")
    shop.records.welds.add(event)
    async with client_of(shop.app) as opened:
        opened.headers.update(shop.token())
        told = (await opened.get(f"{API}/welds/w-forgotten/verdict")).json()
        file = await opened.get(f"{API}/welds/w-forgotten/evidence")
    assert told["verdict"] == "cannot tell"
    assert {r["why"] for r in told["reasons"]} == {"not stopped", "too long", "no procedure"} - (
        set() if told["procedure"] is None else {"no procedure"}
    )
    assert file.status_code == 409
    assert "amend its stop" in file.json()["detail"]


NASTY = "\U0001d54f\u202e\n()\\<script>" + "W" * 400 + "\ufeffе́ЖΩ漢字"


async def test_any_text_of_people_is_printed_and_attached_as_it_was(tmp_path: Path) -> None:
    with sealed_shop(tmp_path) as shop:
        started = T0 + 1500 * SECOND
        first = shop.records.welds.events(WELD)[0]
        details = replace(first.details, remarks=NASTY, sheet=NASTY, rod="--key")
        place = {"weld": "w-odd", "time": started, "job": NASTY, "seam": NASTY}
        shop.records.welds.add(replace(first, **place, details=details))
        stop = WeldEvent(
            WeldEventKind.STOP, "w-odd", first.station, "a", started + 60 * SECOND, "x", "test"
        )
        shop.records.welds.add(stop)
        async with client_of(shop.app) as opened:
            opened.headers.update(shop.token())
            data = (await opened.get(f"{API}/welds/w-odd/evidence")).content
    assert check(data).untouched
    record = json.loads(attached(data)["record.json"])
    assert (record["job"], record["remarks"]) == (NASTY, NASTY)
    with pikepdf.open(io.BytesIO(data)) as opened_file:
        assert violations(opened_file) == []
