from zoneinfo import ZoneInfo

import pytest

from steadybead_dashboards.site_time import moment, span_text
from steadybead_dashboards.words import printed, trimmed
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND, parse_rfc3339


def test_a_moment_is_the_site_s_time_with_utc_beside_it() -> None:
    # Lisbon keeps WEST (UTC+1) in July and WET (UTC+0) in January (IANA time zone database).
    summer = moment(parse_rfc3339("2026-07-01T23:30:05Z"), ZoneInfo("Europe/Lisbon"))
    assert (summer.day, summer.text) == ("2026-07-02", "00:30:05")
    assert summer.utc == "2026-07-01 23:30:05 UTC"
    winter = moment(parse_rfc3339("2026-01-01T23:30:05Z"), ZoneInfo("Europe/Lisbon"))
    assert (winter.day, winter.text) == ("2026-01-01", "23:30:05")


@pytest.mark.parametrize(
    ("length", "text"),
    [
        (-5 * SECOND, "0 s"),
        (59 * SECOND, "59 s"),
        (3 * MINUTE + 5 * SECOND, "3 min 05 s"),
        (2 * HOUR + 10 * MINUTE, "2 h 10 min"),
        (4 * DAY + 3 * HOUR, "4 d 3 h"),
    ],
)
def test_lengths_of_time_in_at_most_two_units(length: int, text: str) -> None:
    assert span_text(length) == text


def test_values_are_printed_with_the_decimals_of_their_quantity() -> None:
    assert printed(321.6, Quantity.NOZZLE_TEMPERATURE) == "322"
    assert printed(49.84, Quantity.AIR_FLOW) == "49.8"
    assert printed(-3.04, Quantity.AIR_FLOW) == "−3.0"
    assert printed(-0.01, Quantity.AIR_FLOW) == "0"
    assert printed(None, Quantity.AIR_FLOW) == "–"


def test_limits_carry_no_idle_zeros() -> None:
    assert trimmed(45.0, Quantity.AIR_FLOW) == "45"
    assert trimmed(48.25, Quantity.AIR_FLOW) == "48.2"
    assert trimmed(300.0, Quantity.NOZZLE_TEMPERATURE) == "300"
