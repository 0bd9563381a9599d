"""Coverage-guided inputs by atheris: those that reach new code are changed further."""

import contextlib
import importlib
import os
import sys
from collections.abc import Callable
from pathlib import Path

from fuzz.laws import Judge, time_limit

LONGEST = 32_768


def guided(judge: Judge, inputs: int, seed: int, keep: Callable[[], None]) -> None:
    """Feed inputs until there were enough; the process ends with them."""
    import atheris  # noqa: PLC0415

    target = judge.target
    feed = target.feed_bytes
    assert feed is not None
    for name in target.modules:
        module = importlib.import_module(name)
        for word, value in vars(module).items():
            if getattr(value, "__module__", "") == name and hasattr(value, "__code__"):
                with contextlib.suppress(Exception):
                    setattr(module, word, atheris.instrument_func(value))
    corpus = Path(os.environ["FUZZ_FOLDER"]) / "corpus"
    corpus.mkdir()
    for number, data in enumerate(target.seeds):
        (corpus / str(number)).write_bytes(data)

    def one(data: bytes) -> None:
        with time_limit():
            judge.take(f"{target.name}:guided", data, feed)
        if judge.tally.inputs >= inputs or judge.over:
            keep()
            os._exit(0)

    words = [sys.argv[0], f"-seed={seed}", f"-max_len={LONGEST}", "-handle_segv=0", "-timeout=60"]
    atheris.Setup([*words, "-verbosity=0", "-rss_limit_mb=0", str(corpus)], one)
    atheris.Fuzz()
