"""What a family of faults has shown, and the table that tells it."""

import statistics
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

BEGINS, ENDS = "<!-- faults begins -->", "<!-- faults ends -->"
HEAD = (
    "| fault | times | readings sent | missing | doubled | recovery, median | worst |\n"
    "| --- | --- | --- | --- | --- | --- | --- |\n"
)


@dataclass(slots=True)
class Row:
    """One line: `sent` counts what was acknowledged to the sender, and must be in the store.

    `recovery_s`: from the fault, or from its end where it lasts, until something sent afterwards
    can be read from the store. `ours`: False where a foreign program is to blame for a loss.
    `commit`: what was tried.
    """

    family: str
    fault: str
    times: int
    sent: int
    missing: int
    doubled: int
    recovery_s: list[float] = field(default_factory=list)
    note: str = ""
    ours: bool = True
    commit: str = ""

    @property
    def clean(self) -> bool:
        return not self.missing and not self.doubled

    def line(self) -> str:
        """Write it as a row of a Markdown table."""
        middle = _seconds(statistics.median(self.recovery_s)) if self.recovery_s else "–"
        worst = _seconds(max(self.recovery_s)) if self.recovery_s else "–"
        name = f"{self.fault} ({self.note})" if self.note else self.fault
        counts = f"{self.sent:,} | {_count(self.missing)} | {_count(self.doubled)}"
        return f"| {name} | {self.times} | {counts} | {middle} | {worst} |"

    def as_json(self) -> dict[str, object]:
        return asdict(self)


def from_json(rows: Sequence[dict[str, object]]) -> list[Row]:
    """Read rows that `as_json` wrote."""
    return [Row(**row) for row in rows]  # type: ignore[arg-type]


def _seconds(value: float) -> str:
    return f"{value:.1f} s" if value >= 1 else f"{value:.2f} s"


def _count(number: int) -> str:
    return f"**{number:,}**" if number else "0"


def table(rows: Sequence[Row]) -> str:
    """Write all rows; those of foreign programs apart."""
    ours = "".join(f"{row.line()}\n" for row in rows if row.ours)
    theirs = "".join(f"{row.line()}\n" for row in rows if not row.ours)
    if not theirs:
        return HEAD + ours
    return f"{HEAD}{ours}\nNot ours: what a foreign Mosquitto loses by itself.\n\n{HEAD}{theirs}"


def put_into(readme: Path, text: str) -> bool:
    """Replace what stands between the marks; False if there are none."""
    whole = readme.read_text("utf-8")
    before, begins, rest = whole.partition(BEGINS)
    _, ends, after = rest.partition(ENDS)
    if not begins or not ends:
        return False
    readme.write_text(f"{before}{begins}\n{text}{ends}{after}", "utf-8")
    return True
