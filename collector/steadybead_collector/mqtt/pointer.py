"""Numbers picked out of foreign JSON payloads by RFC 6901 pointers."""

import math
import re
from typing import Any

import orjson

from steadybead_collector.outcomes import Outcome

_INDEX = re.compile(r"0|[1-9][0-9]{0,9}")
Tokens = tuple[str, ...]


class PointerError(ValueError):
    """The payload has no number at the pointer; `outcome` is the word for it."""

    def __init__(self, outcome: Outcome, detail: str) -> None:
        super().__init__(detail)
        self.outcome, self.detail = outcome, detail


def parse_pointer(text: str) -> Tokens:
    """Split a pointer into its tokens; the empty pointer has none. ValueError."""
    if not text:
        return ()
    if not text.startswith("/") or re.search(r"~(?![01])", text):
        raise ValueError(f"pointer {text[:60]!r}: write /a/b, with ~1 for / and ~0 for ~")
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in text[1:].split("/"))


def read_document(payload: bytes) -> Any:
    """Read the JSON payload; raise PointerError if it is none."""
    try:
        return orjson.loads(payload)
    except orjson.JSONDecodeError as fault:
        raise PointerError(Outcome.MALFORMED, f"not JSON: {fault}"[:160]) from None


def find(document: Any, tokens: Tokens) -> Any:
    """Give the value at the pointer; raise PointerError where there is none."""
    for depth, token in enumerate(tokens):
        if isinstance(document, dict) and token in document:
            document = document[token]
        elif isinstance(document, list) and _INDEX.fullmatch(token) and int(token) < len(document):
            document = document[int(token)]
        else:
            place = "/" + "/".join(tokens[: depth + 1])
            raise PointerError(Outcome.POINTER, f"nothing at {place[:80]!r}")
    return document


def number_at(document: Any, tokens: Tokens) -> float:
    """Give the finite number at the pointer; true is 1 and false is 0. Raise PointerError."""
    value = find(document, tokens)
    if not isinstance(value, int | float):
        raise PointerError(Outcome.NOT_A_NUMBER, f"{type(value).__name__} where a number should be")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise PointerError(Outcome.NOT_FINITE, "the number is too large")
    return number
