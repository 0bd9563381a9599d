import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steadybead_domain.times import BadTimeError, format_rfc3339, parse_rfc3339

YEAR_1 = -62_135_596_800_000_000
YEAR_9999 = 253_402_300_799_999_999


@given(st.integers(YEAR_1, YEAR_9999))
def test_every_microsecond_is_read_back(time_us: int) -> None:
    assert parse_rfc3339(format_rfc3339(time_us)) == time_us


@given(
    st.datetimes(
        dt.datetime(1900, 1, 1),  # noqa: DTZ001
        dt.datetime(2100, 1, 1),  # noqa: DTZ001
        timezones=st.integers(-23 * 60, 23 * 60).map(
            lambda m: dt.timezone(dt.timedelta(minutes=m))
        ),
    )
)
def test_offsets_agree_with_the_standard_library(moment: dt.datetime) -> None:
    expected = (moment - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)) // dt.timedelta(microseconds=1)
    assert parse_rfc3339(moment.isoformat()) == expected


# RFC 3339 section 5.8, examples.
@pytest.mark.parametrize(
    ("text", "time_us"),
    [
        ("1985-04-12T23:20:50.52Z", 482_196_050_520_000),
        ("1996-12-19T16:39:57-08:00", 851_042_397_000_000),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130_000),
    ],
)
def test_examples_of_rfc_3339(text: str, time_us: int) -> None:
    assert parse_rfc3339(text) == time_us


@pytest.mark.parametrize(
    "text",
    ["", "now", "2026-05-04", "2026-05-04T07:30:00", "2026-02-30T00:00:00Z", "1e9", "9" * 100_000],
)
def test_another_text_is_refused_in_one_short_line(text: str) -> None:
    with pytest.raises(BadTimeError) as caught:
        parse_rfc3339(text)
    assert len(str(caught.value)) < 200
