"""Makes the evidence file: report, attachments, seal."""

import datetime as dt
from pathlib import Path
from typing import Final

from steadybead_api.evidence.bundle import Attachment, Bundle, bundle
from steadybead_api.evidence.report import write_report
from steadybead_api.evidence.seal import empty_slot, parts_of, seal
from steadybead_api.evidence.sheet import Sheet
from steadybead_api.figures import As, figures
from steadybead_api.services import Services
from steadybead_collector.evidence.keys import signing_key
from steadybead_domain.people import Actor
from steadybead_domain.times import EPOCH
from steadybead_domain.welds import Weld

MEDIA_TYPE: Final = "application/pdf"
_SIGNATURE: Final = "signature over every other byte of this file"


def evidence_file(services: Services, data_dir: Path, weld: Weld, reader: Actor | None) -> bytes:
    """Make and sign the file of a record as it stands now; PlainError if the key is no good.

    The same stores at the same time of the clock give the same bytes.
    """
    key = signing_key(data_dir)
    collected = bundle(services, data_dir, weld, reader)
    plant = services.plant()
    source = figures(services, As.RECALIBRATED)
    sheet = write_report(collected, source, plant.timezone, plant.name or plant.site)
    _attach(sheet, collected)
    pdf = sheet.finished()
    return seal(pdf, parts_of(pdf), key)


def _attach(sheet: Sheet, collected: Bundle) -> None:
    when = EPOCH + dt.timedelta(microseconds=collected.exported)
    slot = Attachment("signature.jws", empty_slot(), "application/jose", _SIGNATURE)
    for item in sorted((*collected.attachments, slot), key=lambda a: a.name):  # as name trees ask
        sheet.embed_file(
            bytes=item.content,
            basename=item.name,
            mime_type=item.media_type,
            desc=item.about,
            associated_file_relationship="Supplement" if item is slot else "Data",
            modification_date=when,
            compress=item is not slot,
        )
