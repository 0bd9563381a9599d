"""What may be sent of a weld record: a start, a stop, a late entry, an amendment, a sign-off."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, WithJsonSchema

from steadybead_api.fields import Name, Number, Station, Time, Words
from steadybead_domain.weld_details import CHOICES, DETAIL_NAMES


def _one_of(name: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "enum": list(CHOICES[name])})


SeamKind = Annotated[Words, _one_of("seam_kind")]
RodCheck = Annotated[Words, _one_of("rod_check")]
Weather = Annotated[Words, _one_of("weather")]
Protection = Annotated[Words, _one_of("protection")]
Trial = Annotated[Words, _one_of("trial")]
Visual = Annotated[Words, _one_of("visual")]
Remarks = Annotated[str, StringConstraints(strip_whitespace=True, max_length=1000)]
Reason = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500)]


class DetailFields(BaseModel):
    """What people enter of a weld beside times and names; all of it may be left out."""

    model_config = ConfigDict(extra="forbid")
    drawing: Words = ""
    seam_kind: SeamKind = ""
    seam_length_mm: Number | None = None
    qualification: Words = ""
    qualification_expires: Words = ""
    sheet: Words = ""
    sheet_batch: Words = ""
    thickness_mm: Number | None = None
    rod: Words = ""
    rod_batch: Words = ""
    rod_check: RodCheck = ""
    ambient_temperature_c: Number | None = None
    ambient_humidity: Number | None = None
    weather: Weather = ""
    protection: Protection = ""
    trial: Trial = ""
    beads: int | None = None
    visual: Visual = ""
    remarks: Remarks = ""

    def details(self) -> dict[str, Any]:
        """Give what was said of the details."""
        return {n: getattr(self, n) for n in DETAIL_NAMES if n in self.model_fields_set}


class WeldStart(DetailFields):
    """A start; `weld` and `time` are made here if they are absent.

    With `stop` it is a late entry of a weld that is over; `reason` then says why it comes late.
    """

    station: Station
    gun: Name
    time: Time | None = None
    weld: Name | None = None
    procedure: Name | None = None
    job: Words | None = None
    seam: Words | None = None
    welder: Words | None = None
    stop: Time | None = None
    reason: Reason = ""


class WeldStop(BaseModel):
    """A stop, now if no time is given."""

    time: Time | None = None


_OF_THE_ENTRY = frozenset({"reason", "entry", "acted"})


class WeldAmendment(DetailFields):
    """Only the fields that are sent are amended; null or an empty text takes one back.

    `reason` is needed as soon as anything that had been said is changed. Send your own `entry` id,
    and a repeat after a lost answer changes nothing; `acted` is when somebody did it, if earlier.
    """

    job: Words | None = None
    seam: Words | None = None
    welder: Words | None = None
    procedure: Name | None = None
    procedure_revision: Annotated[int, Field(ge=1, le=2**31 - 1)] | None = None
    start: Time | None = None
    stop: Time | None = None
    reason: Reason = ""
    entry: Name | None = None
    acted: Time | None = None

    def changes(self) -> dict[str, Any]:
        """Give the fields that were sent."""
        return {n: getattr(self, n) for n in self.model_fields_set - _OF_THE_ENTRY}


class WeldSignature(BaseModel):
    """A sign-off as the welder, or as the supervisor (quality role)."""

    as_role: Literal["welder", "supervisor"]
