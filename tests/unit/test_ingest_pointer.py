from typing import Any

import orjson
import pytest

from steadybead_collector.mqtt.pointer import (
    PointerError,
    find,
    number_at,
    parse_pointer,
    read_document,
)
from steadybead_collector.outcomes import Outcome

# RFC 6901 section 5: the document and what each pointer evaluates to.
DOCUMENT = orjson.loads(
    r'{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}'
)
EXAMPLES: list[tuple[str, Any]] = [
    ("", DOCUMENT),
    ("/foo", ["bar", "baz"]),
    ("/foo/0", "bar"),
    ("/", 0),
    ("/a~1b", 1),
    ("/c%d", 2),
    ("/e^f", 3),
    ("/g|h", 4),
    ("/i\\j", 5),
    ('/k"l', 6),
    ("/ ", 7),
    ("/m~0n", 8),
]


@pytest.mark.parametrize(("pointer", "value"), EXAMPLES)
def test_the_examples_of_rfc_6901(pointer: str, value: object) -> None:
    assert find(DOCUMENT, parse_pointer(pointer)) == value


def test_escapes_are_undone_in_the_order_of_rfc_6901_section_4() -> None:
    assert parse_pointer("/~01") == ("~1",)


@pytest.mark.parametrize("pointer", ["foo", "/a~2", "/a~"])
def test_a_text_that_is_no_pointer_is_refused(pointer: str) -> None:
    with pytest.raises(ValueError, match="write /a/b"):
        parse_pointer(pointer)


@pytest.mark.parametrize(
    "pointer", ["/foo/2", "/foo/-", "/foo/00", "/foo/01", "/foo/x", "/none", "/a~1b/0", "/foo/0/x"]
)
def test_a_pointer_to_nothing_has_its_word(pointer: str) -> None:
    with pytest.raises(PointerError) as caught:
        find(DOCUMENT, parse_pointer(pointer))
    assert caught.value.outcome is Outcome.POINTER


@pytest.mark.parametrize(
    ("payload", "pointer", "number"),
    [(b"23.5", "", 23.5), (b" 4 \n", "", 4.0), (b'{"flow":{"now":-1e-3}}', "/flow/now", -0.001),
     (b"[true,false]", "/0", 1.0), (b"[true,false]", "/1", 0.0)],
)  # fmt: skip
def test_numbers_are_found(payload: bytes, pointer: str, number: float) -> None:
    assert number_at(read_document(payload), parse_pointer(pointer)) == number


@pytest.mark.parametrize(
    ("payload", "outcome"),
    [(b'"23.5"', Outcome.NOT_A_NUMBER), (b"null", Outcome.NOT_A_NUMBER),
     (b"[1]", Outcome.NOT_A_NUMBER), (b"NaN", Outcome.MALFORMED), (b"", Outcome.MALFORMED),
     (b"23,5", Outcome.MALFORMED), (b"\xff", Outcome.MALFORMED), (b"1e999", Outcome.MALFORMED)],
)  # fmt: skip
def test_what_is_no_number_has_its_word(payload: bytes, outcome: Outcome) -> None:
    with pytest.raises(PointerError) as caught:
        number_at(read_document(payload), ())
    assert caught.value.outcome is outcome
