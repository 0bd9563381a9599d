"""Pages of welding procedures: the list, one with its revisions, and the entry of a revision."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.sensor_words import short, shown_unit
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.procedure_rules import changed_fields
from steadybead_domain.procedures import Procedure, Window

PROCESS_WORDS = {
    "641": mark("641, hot gas speed welding"),
    "642": mark("642, hot gas round-nozzle welding"),
}
REFERENCE_WORDS = {
    FlowReference.ACTUAL: mark("as it flows, cold, at ambient pressure"),
    FlowReference.DIN_1343: mark("normal litres, 0 °C and 1013.25 hPa (DIN 1343)"),
    FlowReference.ISO_2533: mark("15 °C and 1013.25 hPa (ISO 2533)"),
    FlowReference.ANR: mark("20 °C, 1000 hPa and 65 % RH (ANR)"),
}
LABELS = {
    "title": mark("Title"),
    "material": mark("Material"),
    "process": mark("Process"),
    "nozzle_temperature": mark("Temperature, 5 mm inside the nozzle"),
    "air_flow": mark("Air flow"),
    "flow_reference": mark("State of the air in that figure"),
    "travel_speed": mark("Travel speed"),
    "rod_force": mark("Force on the rod"),
    "rod": mark("Rod"),
    "nozzle": mark("Nozzle"),
    "warm_up_s": mark("Warm-up before the first bead"),
    "tacking": mark("Tacking"),
    "preparation": mark("Preparation"),
    "note": mark("Note"),
    "source": mark("Source"),
    "edition": mark("Edition"),
}


@dataclass(frozen=True, slots=True)
class ProcedureField:
    """One field: its label, what stands there, and where that comes from (empty: not said).

    `doubtful`: from memory, or only partly found; `translated`: the text is of the catalogue;
    `figures`: it is made of figures.
    """

    name: str
    label: str
    text: str
    origin: str
    doubtful: bool
    translated: bool = False
    figures: bool = False


@dataclass(frozen=True, slots=True)
class RevisionView:
    """A revision with who wrote and who approved it; `changed` are the labels of its changes."""

    procedure: Procedure
    author: str
    written: Moment
    approved_by: str
    approved: Moment | None
    changed: tuple[str, ...]

    @property
    def href(self) -> str:
        """Give the page of exactly this revision."""
        return f"/procedures/{self.procedure.id}?revision={self.procedure.revision}"


@dataclass(frozen=True, slots=True)
class ReachRow:
    """Whether a gun's channel can ever say *conforms*; `words` are the reason or the limits."""

    place: str
    gun: str
    label: str
    words: str
    can_conform: bool


@dataclass(frozen=True, slots=True)
class ProcedureListPage:
    """The newest revision of each procedure; `used` names stations by procedure id."""

    template: ClassVar[str] = "procedures.html"
    shell: Shell
    rows: tuple[RevisionView, ...]
    used: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ProcedurePage:
    """One revision; `newest` is the number of the newest one."""

    template: ClassVar[str] = "procedure.html"
    shell: Shell
    shown: RevisionView
    fields: tuple[ProcedureField, ...]
    revisions: tuple[RevisionView, ...]
    reach: tuple[ReachRow, ...]

    @property
    def newest(self) -> int:
        """Give the number of the newest revision."""
        return self.revisions[0].procedure.revision


@dataclass(frozen=True, slots=True)
class ProcedureEntryPage:
    """The entry of a new procedure, or of the next revision of `base`."""

    template: ClassVar[str] = "procedure-entry.html"
    shell: Shell
    base: Procedure | None
    processes: Mapping[str, str]
    references: Mapping[str, str]

    @property
    def revision(self) -> int:
        """Give the number that the entry will have."""
        return 1 if self.base is None else self.base.revision + 1


def procedure_list_page(
    revisions: Iterable[RevisionView], used: Mapping[str, tuple[str, ...]], shell: Shell
) -> ProcedureListPage:
    """Build the list, by title."""
    rows = sorted(revisions, key=lambda r: r.procedure.title)
    return ProcedureListPage(shell, tuple(rows), used)


def procedure_page(
    shown: RevisionView,
    revisions: Sequence[RevisionView],
    reach: Iterable[ReachRow],
    shell: Shell,
) -> ProcedurePage:
    """Build the page of one revision."""
    fields = tuple(_fields(shown.procedure))
    return ProcedurePage(shell, shown, fields, tuple(revisions), tuple(reach))


def procedure_entry_page(base: Procedure | None, shell: Shell) -> ProcedureEntryPage:
    """Build the entry."""
    references = {key.value: words for key, words in REFERENCE_WORDS.items()}
    return ProcedureEntryPage(shell, base, dict(PROCESS_WORDS), references)


def changes_of(item: Procedure, before: Procedure | None) -> tuple[str, ...]:
    """Name what a revision changed, in the words of the page."""
    if before is None:
        return ()
    return tuple(LABELS[n] for n in changed_fields(item, before) if n in LABELS)


def window_text(window: Window | None) -> str:
    """Write `300 – 340 °C`; an ellipsis stands for an open side, nothing for no window."""
    if window is None:
        return ""
    low, high = ("…" if end is None else short(end) for end in (window.low, window.high))
    return f"{low} – {high} {shown_unit(window.unit)}"


def _fields(item: Procedure) -> Iterable[ProcedureField]:
    windows = {"nozzle_temperature", "air_flow", "travel_speed", "rod_force"}
    words = {
        "process": PROCESS_WORDS.get(item.process, item.process),
        "flow_reference": REFERENCE_WORDS[item.flow_reference],
        "warm_up_s": f"{short(item.warm_up_s / 60.0)} min",
    }
    for name, label in LABELS.items():
        value = getattr(item, name)
        text = window_text(value) if name in windows else words.get(name, str(value))
        if not text or name == "title":
            continue
        origin = item.provenance.get(name, "")
        doubtful = "memory" in origin or "no source" in origin
        translated = name in {"process", "flow_reference"} and name in words
        figures = name in windows or name == "warm_up_s"
        yield ProcedureField(name, label, text, origin, doubtful, translated, figures)
