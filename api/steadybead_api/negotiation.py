"""Which of the offered media types an `Accept` header asks for (RFC 9110 §12.5.1)."""

from collections.abc import Sequence

from fastapi import Request

from steadybead_api.problems import Problem

JSON = "application/json"
CSV = "text/csv"
PARQUET = "application/vnd.apache.parquet"


def chosen(request: Request, offered: Sequence[str]) -> str:
    """Give the best offer, the first of equals; Problem 406 if none is accepted."""
    header = ",".join(request.headers.getlist("accept"))
    if not header.strip():
        return offered[0]
    ranges = [_range(part) for part in header.split(",") if part.strip()]
    weighed = [(_weight(offer, ranges), -place) for place, offer in enumerate(offered)]
    weight, place = max(weighed)
    if weight <= 0:
        raise Problem(406, "media-type", f"this address offers {', '.join(offered)}")
    return offered[-place]


def _range(part: str) -> tuple[str, float]:
    media, *parameters = (piece.strip().lower() for piece in part.split(";"))
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip() == "q":
            return media, _quality(value.strip())
    return media, 1.0


def _quality(text: str) -> float:
    try:
        return min(max(float(text), 0.0), 1.0)
    except ValueError:
        return 0.0


def _weight(offer: str, ranges: list[tuple[str, float]]) -> float:
    family = offer.split("/", maxsplit=1)[0] + "/*"
    for pattern in (offer, family, "*/*"):
        for media, quality in ranges:
            if media == pattern:
                return quality
    return 0.0
