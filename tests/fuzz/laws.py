"""What every input must keep to, and the three ways in which inputs are made and counted.

An input is known by target, seed and number: `run.py --replay TARGET:NUMBER` makes it again. It
may be accepted, or refused by the parser's own error in one clear message; anything else breaks a
law: another exception, a broken round trip, more time or memory than one input may cost.
"""

import contextlib
import math
import resource
import signal
import sys
import time
import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from random import Random
from typing import Any

MOST_SECONDS = 1.0  # of the processor, for one input
MOST_WORK_S = 10.0  # of the processor: then an input is broken off
MOST_MEGABYTES = 64.0  # by which one input may raise the peak of memory
LONGEST_MESSAGE = 4000
_HERE = Path(__file__).resolve().parents[2]


class LawError(AssertionError):
    """An input was accepted or refused in a way that breaks a law."""


class SlowError(BaseException):
    """An input takes too long; no parser may catch this."""


@dataclass(frozen=True)
class Target:
    """One parser: `make` makes an input, `feed` gives True if accepted and False if refused.

    `seeds` are inputs as bytes for the coverage-guided engine, whose inputs `feed_bytes` takes.
    """

    name: str
    make: Callable[[Random], Any]
    feed: Callable[[Any], bool]
    seeds: Sequence[bytes] = ()
    feed_bytes: Callable[[bytes], bool] | None = None
    modules: Sequence[str] = ()
    run: Callable[["Judge", int, int], None] | None = None  # makes its inputs by itself
    close: Callable[[], None] = lambda: None
    most_megabytes: float = MOST_MEGABYTES


@dataclass
class Broken:
    """A law that inputs broke: what, where, how often, and the first input that did."""

    what: str
    where: str
    first: str
    shown: str
    times: int = 1


@dataclass
class Tally:
    """What became of the inputs of one target."""

    target: str
    inputs: int = 0
    accepted: int = 0
    refused: int = 0
    seconds: float = 0.0
    slowest_s: float = 0.0
    slowest: str = ""
    grown_mb: float = 0.0
    broken: list[Broken] = field(default_factory=list)

    @property
    def crashes(self) -> int:
        return sum(b.times for b in self.broken)

    def note(self, what: str, where: str, name: str, given: Any) -> None:
        for known in self.broken:
            if (known.what[:60], known.where) == (what[:60], where):
                known.times += 1
                return
        self.broken.append(Broken(what, where, name, repr(given)[:2000]))

    def join(self, other: "Tally") -> None:
        self.inputs += other.inputs
        self.accepted += other.accepted
        self.refused += other.refused
        self.seconds += other.seconds
        self.grown_mb = max(self.grown_mb, other.grown_mb)
        if other.slowest_s > self.slowest_s:
            self.slowest_s, self.slowest = other.slowest_s, other.slowest
        self.broken += other.broken

    def to_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def of(cls, data: dict[str, Any]) -> "Tally":
        return cls(**{**data, "broken": [Broken(**b) for b in data["broken"]]})


class Judge:
    """Feeds inputs to one target and holds what happens to the laws.

    `patient`: time and memory are counted, but none fails on them; others share the process.
    """

    def __init__(
        self,
        target: Target,
        beat: Callable[[int, str, Any], None] | None = None,
        *,
        patient: bool = False,
    ) -> None:
        self.target = target
        self._patient = patient
        self.until = math.inf  # on the monotonic clock
        self.tally = Tally(target.name)
        self._beat = beat
        self._first_peak = peak_megabytes()

    @property
    def over(self) -> bool:
        return time.monotonic() > self.until

    def take(self, name: str, given: Any, feed: Callable[[Any], bool] | None = None) -> bool:
        """Feed one input; give False if it broke a law."""
        tally = self.tally
        tally.inputs += 1
        if self._beat is not None:
            self._beat(tally.inputs, name, given)
        crashes, before = tally.crashes, peak_megabytes()  # what made the input is not its own
        began, worked = time.perf_counter(), time.process_time()
        try:
            if (feed or self.target.feed)(given):
                tally.accepted += 1
            else:
                tally.refused += 1
        except (Exception, SlowError) as error:  # noqa: BLE001  any error that is not its own
            tally.note(f"{type(error).__name__}: {error}"[:300], _place(error), name, given)
        worked, waited = time.process_time() - worked, time.perf_counter() - began
        tally.seconds += waited
        if worked > tally.slowest_s:
            tally.slowest_s, tally.slowest = worked, name
        if worked > MOST_SECONDS and not self._patient:
            tally.note(f"{worked:.1f} s of the processor", "time", name, given)
        peak = peak_megabytes()
        if peak - before > self.target.most_megabytes and not self._patient:
            tally.note(f"{peak - before:.0f} MB more memory", "memory", name, given)
        tally.grown_mb = peak - self._first_peak
        return tally.crashes == crashes


def peak_megabytes() -> float:
    """Give the peak of this process's resident memory."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (2**20 if sys.platform == "darwin" else 2**10)


def mutated(judge: Judge, inputs: int, seed: int, first: int = 0) -> None:
    """Feed inputs that differ at random from real ones, each from a seed of its own."""
    make = judge.target.make
    with _warnings_are_errors():
        for number in range(first, first + inputs):
            if judge.over:
                break
            given = make(input_random(judge.target.name, seed, number))
            with time_limit():
                judge.take(f"{judge.target.name}:{number}", given)


def by_hypothesis(judge: Judge, inputs: int) -> None:
    """Feed inputs whose random choices Hypothesis makes: it looks for the extreme ones."""
    from hypothesis import HealthCheck, Phase, given, settings  # noqa: PLC0415
    from hypothesis import strategies as st  # noqa: PLC0415

    @settings(
        max_examples=inputs,
        deadline=None,
        database=None,
        derandomize=True,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
    )
    @given(st.randoms(use_true_random=False, note_method_calls=False))
    def ask(draw: Random) -> None:
        made = judge.target.make(draw)
        if judge.over:
            return  # after the draws: Hypothesis wants the same ones each time
        with time_limit():
            judge.take(f"{judge.target.name}:hypothesis", made)

    with _warnings_are_errors():
        ask()


def input_random(target: str, seed: int, number: int) -> Random:
    """Give the random numbers of one input."""
    return Random(f"{target}/{seed}/{number}")  # noqa: S311  no secret comes of it


@contextlib.contextmanager
def time_limit() -> Iterator[None]:
    """Raise SlowError in what takes too long; does nothing where no handler is set."""
    if signal.getsignal(signal.SIGPROF) is not slow:
        yield
        return
    signal.setitimer(signal.ITIMER_PROF, MOST_WORK_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)


def slow(_signal: int, _frame: Any) -> None:
    """Handle SIGPROF."""
    raise SlowError(f"no answer within {MOST_WORK_S:.0f} s of work")


def one_message(message: str) -> bool:
    """Hold a refusal to one line of bearable length; give False, as a refusal does."""
    if not message.strip() or "\n" in message or len(message) > LONGEST_MESSAGE:
        raise LawError(f"no clear message: {message[:300]!r}, {len(message)} characters")
    return False


def law(holds: bool, what: str) -> None:
    """Raise LawError unless a law holds."""
    if not holds:
        raise LawError(what)


@contextlib.contextmanager
def _warnings_are_errors() -> Iterator[None]:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield


def _place(error: BaseException) -> str:
    """Name the innermost place in the product, else the innermost of all."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [f for f in frames if "steadybead" in f.filename]
    frame = (own or frames)[-1]
    path = Path(frame.filename)
    shown = path.relative_to(_HERE) if path.is_relative_to(_HERE) else path.name
    return f"{shown}:{frame.lineno} {frame.name}"
