"""Mistakes in the plant file: each with its line and its remedy."""

from dataclasses import dataclass

from steadybead_domain.errors import PlainError, one_line


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One mistake: the line (from 1), what is wrong, and what to do about it."""

    line: int
    message: str
    remedy: str

    def __str__(self) -> str:
        """Write `line 12: what is wrong: what to do`."""
        return one_line(f"line {self.line}: {self.message}: {self.remedy}")


class PlantFileError(PlainError):
    """The plant file cannot be used; `problems` holds every mistake found, first line first."""

    def __init__(self, path: str, problems: tuple[Problem, ...]) -> None:
        self.path = path
        self.problems = problems
        first = problems[0]
        more = len(problems) - 1
        rest = f" (and {more} more mistake{'s' if more > 1 else ''})" if more else ""
        super().__init__(f"{path}: {first}{rest}")

    @property
    def line(self) -> int:
        """Give the line of the first mistake."""
        return self.problems[0].line

    @property
    def message(self) -> str:
        """Give the first mistake in words."""
        return self.problems[0].message

    @property
    def remedy(self) -> str:
        """Give what to do about the first mistake."""
        return self.problems[0].remedy
