"""A station is watched by one collector: claims on both databases."""

from collections.abc import Iterator
from pathlib import Path

import pytest

import records_postgres
from records_samples import BAY_1, BAY_2, T0
from steadybead_collector.claiming import Claiming
from steadybead_collector.records.claims import HOLDS_FOR
from steadybead_collector.records.store import Records, open_records
from steadybead_domain.errors import PlainError


@pytest.fixture(scope="module")
def server_url() -> Iterator[str]:
    if (reason := records_postgres.why_not()) is not None:
        pytest.skip(reason)
    with records_postgres.server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def records(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Records]:
    url = "sqlite"
    if request.param == "postgresql":
        url = records_postgres.emptied(request.getfixturevalue("server_url"))
    store = open_records(url, tmp_path, lambda: T0)
    yield store
    store.close()


def test_all_or_none_is_claimed(records: Records) -> None:
    assert records.claims.take([BAY_1], "one", T0) == []
    assert records.claims.take([BAY_1, BAY_2], "two", T0 + 1) == [BAY_1]
    assert records.claims.take([BAY_2], "three", T0 + 2) == []


def test_the_same_holder_comes_back_at_once(records: Records) -> None:
    assert records.claims.take([BAY_1], "one", T0) == []
    assert records.claims.take([BAY_1, BAY_2], "one", T0 + 1) == []


def test_a_claim_lapses_unless_it_is_renewed(records: Records) -> None:
    records.claims.take([BAY_1], "one", T0)
    assert records.claims.renew([BAY_1], "one", T0 + HOLDS_FOR - 1)
    assert records.claims.take([BAY_1], "two", T0 + HOLDS_FOR) == [BAY_1]
    assert records.claims.take([BAY_1], "two", T0 + 2 * HOLDS_FOR) == []
    assert not records.claims.renew([BAY_1], "one", T0 + 2 * HOLDS_FOR)


def test_what_is_let_go_is_free(records: Records) -> None:
    records.claims.take([BAY_1], "one", T0)
    records.claims.release("one")
    assert records.claims.take([BAY_1], "two", T0) == []


def test_a_second_collector_is_told_whose_station_it_is(records: Records, tmp_path: Path) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    first = Claiming(records.claims, [BAY_1], tmp_path / "one", lambda: T0)
    second = Claiming(records.claims, [BAY_1, BAY_2], tmp_path / "two", lambda: T0)
    first.start()
    with pytest.raises(PlainError, match=r"watches north/bay-1: stop it, or give"):
        second.start(wait_for_s=0)
    first.stop(5)
    second.start(wait_for_s=0)
    second.stop(5)


def test_who_has_the_session_has_the_stations(records: Records, tmp_path: Path) -> None:
    for folder in ("dead", "standby"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "mqtt-client-id").write_text("sb-same\n")
    dead = Claiming(records.claims, [BAY_1], tmp_path / "dead", lambda: T0)
    dead.start()
    standby = Claiming(records.claims, [BAY_1], tmp_path / "standby", lambda: T0)
    standby.start(wait_for_s=0)
    for claiming in (dead, standby):
        claiming.stop(5)
