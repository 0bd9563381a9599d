"""What people wrote of a weld: the fields of the log, its amendments and its sign-offs."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.sensor_words import short
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_domain.weld_amendments import AS_WELDER, Amendment, Signature
from steadybead_domain.weld_details import CHOICES, expired
from steadybead_domain.welds import Weld

LABELS: Final = {
    "job": mark("Job"),
    "seam": mark("Seam"),
    "drawing": mark("Drawing position"),
    "seam_kind": mark("Kind of seam"),
    "seam_length_mm": mark("Length of the seam, mm"),
    "beads": mark("Number of beads"),
    "welder": mark("Welder"),
    "qualification": mark("Qualification"),
    "qualification_expires": mark("Qualification valid until"),
    "procedure": mark("Procedure"),
    "procedure_revision": mark("Revision of the procedure"),
    "sheet": mark("Sheet"),
    "sheet_batch": mark("Batch of the sheet"),
    "thickness_mm": mark("Thickness, mm"),
    "rod": mark("Rod"),
    "rod_batch": mark("Batch of the rod"),
    "rod_check": mark("Rod fits the sheet"),
    "ambient_temperature_c": mark("Surroundings, °C"),
    "ambient_humidity": mark("Humidity, % RH"),
    "weather": mark("Weather"),
    "protection": mark("Protection"),
    "trial": mark("Trial weld"),
    "visual": mark("Visual result"),
    "remarks": mark("Remarks"),
    "start": mark("Start"),
    "stop": mark("Stop"),
}
GROUPS: Final = (
    (mark("Seam"), ("job", "seam", "drawing", "seam_kind", "seam_length_mm", "beads")),
    (mark("Material"), ("sheet", "sheet_batch", "thickness_mm", "rod", "rod_batch", "rod_check")),
    (mark("Welder"), ("welder", "qualification", "qualification_expires")),
    (
        mark("Surroundings"),
        ("ambient_temperature_c", "ambient_humidity", "weather", "protection"),
    ),
    (mark("Result"), ("trial", "visual", "remarks")),
)
WORDS: Final = {
    "V": "V",
    "double V": mark("double V"),
    "fillet": mark("fillet"),
    "lap": mark("lap"),
    "other": mark("other"),
    "indoors": mark("indoors"),
    "sun": mark("sun"),
    "dry": mark("dry"),
    "rain or snow": mark("rain or snow"),
    "wind": mark("wind"),
    "none": mark("none"),
    "screen": mark("screen"),
    "tent": mark("tent"),
    "heating": mark("heating"),
    "accepted": mark("accepted"),
    "rejected": mark("rejected"),
    "passed": mark("passed"),
    "failed": mark("failed"),
    "not made": mark("not made"),
    "compatible": mark("compatible"),
    "not compatible": mark("not compatible"),
    "not checked": mark("not checked"),
}
OF_THE_WELDER: Final = frozenset({"welder", "qualification", "qualification_expires"})
_NUMBERS: Final = frozenset(
    {"seam_length_mm", "thickness_mm", "ambient_temperature_c", "ambient_humidity", "beads"}
)


@dataclass(frozen=True, slots=True)
class Choice:
    """One word to choose; `word` is empty for *nobody said*."""

    value: str
    word: str


@dataclass(frozen=True, slots=True)
class LogField:
    """One field: `kind` is text, number, day, choice or long; `value` is as it is sent.

    `doubtful` says what is wrong with it, empty if nothing is.
    """

    name: str
    label: str
    kind: str
    value: str
    text: str
    choices: tuple[Choice, ...] = ()
    doubtful: str = ""

    @property
    def translated(self) -> bool:
        """Tell whether the text is of the catalogue."""
        return self.kind == "choice"


@dataclass(frozen=True, slots=True)
class LogGroup:
    """Some fields under one heading."""

    title: str
    fields: tuple[LogField, ...]

    @property
    def said(self) -> tuple[LogField, ...]:
        """Give the fields in which something stands."""
        return tuple(f for f in self.fields if f.text)


@dataclass(frozen=True, slots=True)
class ChangeView:
    """One field of an amendment: before and after, an en dash for nothing.

    `translated`: both are words of the catalogue.
    """

    label: str
    before: str
    after: str
    translated: bool = False


@dataclass(frozen=True, slots=True)
class AmendmentView:
    """An amendment with who made it, when and why."""

    number: int
    when: Moment
    author: str
    reason: str
    changes: tuple[ChangeView, ...]


@dataclass(frozen=True, slots=True)
class SignatureView:
    """A sign-off; `stale`: something was amended after it. `name` is empty where it is hidden."""

    as_welder: bool
    name: str
    when: Moment
    stale: bool


OUT_OF_DATE = mark("had run out on the day of the weld")


def log_groups(weld: Weld, shell: Shell, *, sees_welder: bool) -> tuple[LogGroup, ...]:
    """Lay out the fields of a record as it stands."""
    groups = []
    for title, names in GROUPS:
        if not sees_welder and names[0] == "welder":
            continue
        groups.append(LogGroup(title, tuple(_field(n, weld, shell) for n in names)))
    return tuple(groups)


def amendment_views(
    amendments: Iterable[Amendment], shell: Shell, *, sees_welder: bool
) -> tuple[AmendmentView, ...]:
    """Show amendments, the newest first."""
    found = [
        AmendmentView(
            item.number,
            shell.moment(item.time),
            item.author,
            item.reason,
            tuple(
                _change(n, item.before.get(n), v, shell)
                for n, v in item.changes.items()
                if n in LABELS and (sees_welder or n not in OF_THE_WELDER)
            ),
        )
        for item in amendments
    ]
    return tuple(reversed(found))


def _change(name: str, before: Any, after: Any, shell: Shell) -> ChangeView:
    was, stands = _shown(name, before, shell), _shown(name, after, shell)
    return ChangeView(LABELS[name], was, stands, name in CHOICES)


def signature_views(
    weld: Weld, signatures: Iterable[Signature], shell: Shell, *, sees_welder: bool
) -> tuple[SignatureView, ...]:
    """Show sign-offs in their order."""
    own = "" if shell.person is None else shell.person.name
    return tuple(
        SignatureView(
            s.as_role == AS_WELDER,
            s.name if sees_welder or s.as_role != AS_WELDER or s.name == own else "",
            shell.moment(s.time),
            not s.covers(weld),
        )
        for s in signatures
    )


def _field(name: str, weld: Weld, shell: Shell) -> LogField:
    value = getattr(weld.details, name) if hasattr(weld.details, name) else getattr(weld, name)
    text = _shown(name, value, shell) if value not in ("", None) else ""
    choices = tuple(Choice(word, WORDS.get(word, "")) for word in CHOICES.get(name, ()))
    doubtful = ""
    if name == "qualification_expires" and expired(weld.details, shell.moment(weld.start).date):
        doubtful = OUT_OF_DATE
    sent = short(value).replace("−", "-") if name in _NUMBERS and text else str(value or "")
    return LogField(name, LABELS[name], _kind(name), sent, text, choices, doubtful)


def _kind(name: str) -> str:
    if name in CHOICES:
        return "choice"
    if name in _NUMBERS:
        return "number"
    return {"qualification_expires": "day", "remarks": "long"}.get(name, "text")


def _shown(name: str, value: Any, shell: Shell) -> str:
    if value in ("", None):
        return "–"
    if name in {"start", "stop"}:
        at = shell.moment(value)
        return f"{at.day} {at.text}"
    if name in CHOICES:
        return WORDS.get(str(value), str(value))
    return short(value) if isinstance(value, int | float) else str(value)


def entry_groups() -> tuple[LogGroup, ...]:
    """Lay out the fields for a record that is entered afterwards."""
    return tuple(LogGroup(title, tuple(_empty(n) for n in names)) for title, names in GROUPS)


def _empty(name: str) -> LogField:
    choices = tuple(Choice(word, WORDS.get(word, "")) for word in CHOICES.get(name, ()))
    return LogField(name, LABELS[name], _kind(name), "", "", choices)
