"""Names, passwords and PINs that can be kept, and the wait of those who guess."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steadybead_api.throttle import FREE_TRIES, LONGEST_WAIT_S, MOST_KEYS, Throttle
from steadybead_domain.people import check_name, check_password, check_pin, name_key
from steadybead_domain.times import SECOND


@pytest.mark.parametrize("name", ["", " ", "a\nb\x00", "x" * 65, "a\u202eb"])
def test_a_name_that_cannot_stand_beside_an_act_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="1 to 64 printable"):
        check_name(name)


@given(st.text(max_size=80))
def test_a_kept_name_is_kept_once_more(name: str) -> None:
    try:
        kept = check_name(name)
    except ValueError:
        return
    assert check_name(kept) == kept
    assert kept.isprintable()
    assert name_key(kept) == name_key(name)


@pytest.mark.parametrize("password", ["short", "x" * 9, "x" * 201, "aaaaaaaaaaaa", "Ana Reis 2026"])
def test_an_easy_password_is_refused(password: str) -> None:
    with pytest.raises(ValueError, match="password"):
        check_password(password, "Ana Reis")


def test_length_is_enough() -> None:
    assert check_password("only lower case words", "Ana") == "only lower case words"


@pytest.mark.parametrize(
    "pin", ["", "123", "123456789", "12a4", "0000", "1234", "9876", "8901", "١٢٣٥"]
)
def test_an_easy_pin_is_refused(pin: str) -> None:
    with pytest.raises(ValueError, match="PIN"):
        check_pin(pin)


def test_the_wait_doubles_and_is_forgiven() -> None:
    tries, now, waits = Throttle(), 0, []
    for _ in range(FREE_TRIES + 12):
        tries.wrong("a", now)
        waits.append(tries.wait_s("a", now))
    doubled = [min(LONGEST_WAIT_S, 2**n) for n in range(12)]
    assert waits == [0] * FREE_TRIES + doubled
    assert tries.wait_s("b", now) == 0
    assert tries.wait_s("a", now + LONGEST_WAIT_S * SECOND) == 0
    tries.right("a")
    tries.wrong("a", now)
    assert tries.wait_s("a", now) == 0


def test_the_memory_of_guesses_is_bounded() -> None:
    tries = Throttle()
    for number in range(MOST_KEYS + 50):
        tries.wrong(str(number), 0)
    assert len(tries._tries) == MOST_KEYS
