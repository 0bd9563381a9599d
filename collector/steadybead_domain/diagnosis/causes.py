"""Which cause explains the figures that moved: fault signatures weighed against each other.

Every cause moves each figure by a known amount for one unit of its size (structured residuals:
Gertler, Fault Detection and Diagnosis in Engineering Systems, 1998). The size is unknown, so it is
integrated out under a normal prior; what is left is how well each cause explains the figures
(marginal likelihood: MacKay, Information Theory, Inference and Learning Algorithms, ch. 28).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

MODEL_ERROR = 1.5  # σ is taken so much wider, for what the signatures leave out
NAMED = 0.8
IN_DOUBT = 0.9


@dataclass(frozen=True, slots=True)
class Signature:
    """How one cause shows.

    `moves`: change of each figure for one `unit` of the cause's size; a figure that is not named
    stays. `free`: figures that may move besides by so much (1 σ). `size`: 1 σ of sizes to expect,
    `least`: sizes below are of no interest. `prior`: how common it is beside the other causes.
    `side` 1 or −1: the size can only have that sign.
    """

    cause: str
    unit: str
    moves: Mapping[str, float]
    size: float
    least: float
    prior: float
    free: Mapping[str, float] = field(default_factory=dict)
    side: int = 0


@dataclass(frozen=True, slots=True)
class Weighed:
    """A cause with its share of belief, its size (1 σ beside it) and what speaks for and against.

    `worth`: its size over the least size that is of interest.
    `speaks_for`, `speaks_against`: figures that moved, or stayed, as this cause would have it or
    not.
    """

    cause: str
    unit: str
    share: float
    size: float
    sigma: float
    worth: float
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]


Shift = tuple[float, float]


def weigh(signatures: Sequence[Signature], shifts: Mapping[str, Shift]) -> list[Weighed]:
    """Give the causes by falling share; `shifts` are (change, 1 σ) of each figure at hand."""
    names = list(shifts)
    change = np.array([shifts[n][0] for n in names])
    sigma = MODEL_ERROR * np.array([shifts[n][1] for n in names])
    weighed = []
    for signature in signatures:
        s = np.array([signature.moves.get(n, 0.0) for n in names])
        if not s.any():
            continue
        spread = np.sqrt(sigma**2 + np.array([signature.free.get(n, 0.0) for n in names]) ** 2)
        precision = float(np.sum((s / spread) ** 2)) + 1.0 / signature.size**2
        size = float(np.sum(s * change / spread**2)) / precision
        log = _evidence(signature, s, change, spread)
        if signature.side and signature.side * size < 0:
            log -= 20.0
        weighed.append((log, signature, size, 1.0 / np.sqrt(precision), s, spread))
    if not weighed:
        return []
    best = max(w[0] for w in weighed)
    total = sum(float(np.exp(w[0] - best)) for w in weighed)
    found = []
    for log, signature, size, size_sigma, s, spread in weighed:
        fits = _fits(names, change, s * size, spread)
        found.append(
            Weighed(
                signature.cause,
                signature.unit,
                float(np.exp(log - best)) / total,
                size,
                float(size_sigma),
                abs(size) / signature.least,
                fits[0],
                fits[1],
            )
        )
    return sorted(found, key=lambda w: -w.share)


def _evidence(
    signature: Signature,
    s: np.ndarray[tuple[int], np.dtype[np.float64]],
    change: np.ndarray[tuple[int], np.dtype[np.float64]],
    spread: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> float:
    """Log of prior · N(change; 0, diag(spread²) + size² s sᵀ), by the matrix determinant lemma."""
    a = change / spread
    b = s / spread
    gain = 1.0 + signature.size**2 * float(b @ b)
    square = float(a @ a) - signature.size**2 * float(a @ b) ** 2 / gain
    log_scale = float(np.sum(np.log(spread)))
    return float(np.log(signature.prior) - 0.5 * (square + np.log(gain)) - log_scale)


def _fits(
    names: Sequence[str],
    change: np.ndarray[tuple[int], np.dtype[np.float64]],
    expected: np.ndarray[tuple[int], np.dtype[np.float64]],
    spread: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    left = np.abs(change - expected) / spread
    telling = np.maximum(np.abs(change), np.abs(expected)) / spread > 1.0
    good = tuple(n for n, far, tells in zip(names, left, telling, strict=True) if tells and far < 1)
    bad = tuple(n for n, far in zip(names, left, strict=True) if far > 2.0)
    return good, bad


def merged(weighed: Sequence[Weighed], families: Mapping[str, str]) -> list[Weighed]:
    """Count causes of one family as one, told by its likeliest member's figures."""
    heads: dict[str, Weighed] = {}
    for w in weighed:
        family = families.get(w.cause, w.cause)
        head = heads.get(family)
        if head is None:
            heads[family] = replace(w, cause=family)
        else:
            heads[family] = replace(head, share=head.share + w.share)
    return sorted(heads.values(), key=lambda w: -w.share)


def in_question(weighed: Sequence[Weighed]) -> list[Weighed]:
    """Give the one cause that stands out, or those that together make `IN_DOUBT` of the belief."""
    if weighed and weighed[0].share >= NAMED:
        return [weighed[0]]
    taken: list[Weighed] = []
    for candidate in weighed:
        taken.append(candidate)
        if sum(w.share for w in taken) >= IN_DOUBT:
            break
    return taken


def worth_telling(taken: Sequence[Weighed]) -> list[Weighed]:
    """Give the causes if the first is large enough, without those far too small to matter.

    Nothing, if that would leave one cause alone that is not sure by itself.
    """
    if not taken or taken[0].worth < 1.0:
        return []
    large = [w for w in taken if w.worth >= 0.5]
    return large if len(large) > 1 or len(taken) == 1 else []


def smallest_size(signature: Signature, smallest: Mapping[str, float]) -> float | None:
    """Give the smallest size that some figure at hand can show; None if none moves with it."""
    sizes = [
        smallest[name] / abs(move)
        for name, move in signature.moves.items()
        if move and name in smallest
    ]
    return min(sizes, default=None)
