"""`welds/{id}/evidence`: the sealed file; `evidence-key`: what checks who signed it."""

from pathlib import Path
from typing import Any

from fastapi import Request, Response
from fastapi.responses import PlainTextResponse

from steadybead_api import weld_acts
from steadybead_api.access import Reader, services_of
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.services import Services
from steadybead_api.weld_routes import WeldId
from steadybead_collector.evidence.keys import SigningKeyError, public_pem, signing_key
from steadybead_domain.evidence.jws import public_bytes, thumbprint

router = api_router("welds")
_PDF: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/pdf": {"schema": {"type": "string", "format": "binary"}}}}
}
_PEM: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/x-pem-file": {"schema": {"type": "string"}}}}
}


@router.get(
    "/welds/{weld}/evidence",
    response_class=Response,
    responses=_PDF,
    summary="The evidence file of a record: one signed PDF/A-3 with all data inside",
)
def evidence(request: Request, reader: Reader, weld: WeldId) -> Response:
    """Make the file as of now. Check it anywhere with `steadybead verify FILE`."""
    from steadybead_api.evidence.bundle import TooLongError  # noqa: PLC0415
    from steadybead_api.evidence.export import (  # noqa: PLC0415  a third of a start
        MEDIA_TYPE,
        evidence_file,
    )

    services = services_of(request)
    found = weld_acts.the_weld(services, weld)
    try:
        content = evidence_file(services, _folder(services), found, reader)
    except SigningKeyError as error:
        raise Problem(503, "signing-key", str(error)) from None
    except TooLongError as error:
        raise Problem(409, "too-long", str(error)) from None
    name = f"weld-{found.id}.pdf"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response(content, media_type=MEDIA_TYPE, headers=headers)


@router.get(
    "/evidence-key",
    response_class=PlainTextResponse,
    responses=_PEM,
    summary="The public key that evidence files are signed for",
)
def evidence_key(request: Request, _reader: Reader) -> Response:
    """Give the public key; hand it to the other side by a way of its own, not with the file."""
    try:
        key = public_bytes(signing_key(_folder(services_of(request))))
    except SigningKeyError as error:
        raise Problem(503, "signing-key", str(error)) from None
    headers = {"X-Fingerprint": thumbprint(key)}
    return Response(public_pem(key), media_type="application/x-pem-file", headers=headers)


def _folder(services: Services) -> Path:
    if services.data_dir is None:
        raise Problem(503, "signing-key", "this service has no data folder to keep a key in")
    return services.data_dir
