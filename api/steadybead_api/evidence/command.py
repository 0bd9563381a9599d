"""The commands `export` and `verify`."""

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final, TextIO

from steadybead_api.evidence.check import Checked, check
from steadybead_api.evidence.letters import letter_faults, read_letter
from steadybead_collector.evidence.keys import read_public
from steadybead_domain.errors import PlainError
from steadybead_domain.people import Actor, Role

DONE: Final = 0
NO: Final = 1
LARGEST_BYTES: Final = 1 << 30
# whoever can read the data folder can read everything in it
_OWNER: Final = Actor("command line", Role.ADMINISTRATOR)


def verify_file(
    path: Path, key: Path | None, roots: Sequence[Path] = (), out: TextIO | None = None
) -> int:
    """Check a file and say what was found; give the exit code. OSError, PlainError.

    `roots` are daily roots as they were received outside of the shop.
    """
    wanted = None if key is None else read_public(key)
    letters = [read_letter(root) for root in roots]
    with path.open("rb") as file:
        data = file.read(LARGEST_BYTES + 1)
    if len(data) > LARGEST_BYTES:
        raise PlainError(f"{path}: is larger than 1 GiB: no evidence file is")
    found = check(data, wanted)
    if found.untouched and letters:
        faults = [fault for letter in letters for fault in letter_faults(found, letter)]
        told = [
            f"daily root {letter['root']}: it is the one that was received" for letter in letters
        ]
        facts = found.facts if faults else (*found.facts, *told)
        found = replace(found, faults=tuple(faults), facts=facts)
    (out or sys.stdout).writelines(
        f"{line}\n" for line in _lines(path, found, asked=key is not None)
    )
    return DONE if found.untouched else NO


def _lines(path: Path, found: Checked, *, asked: bool) -> list[str]:
    if not found.untouched:
        lines = [f"{path}: NOT UNTOUCHED"]
        lines += [f"  {fault.part}: {fault.text}" for fault in found.faults]
        signer = [f"  signature of {found.fingerprint}"] if found.fingerprint else []
        return lines + signer
    lines = [f"{path}: untouched since it was signed"]
    lines += [f"  {fact}" for fact in found.facts]
    lines.append(f"  signed by {found.fingerprint}")
    if not asked:
        lines.append("  signer not checked: give --key with the public key that the shop gave you")
    else:
        lines.append("  signer checked: it is the key that was given")
    return lines


def export_weld(weld_id: str, output: Path, config: Path, data: Path | None) -> int:
    """Write the evidence file of a record; give the exit code. OSError, PlainError."""
    if not output.absolute().parent.is_dir():
        raise PlainError(f"{output}: there is no such folder: make it, or name another file")
    from steadybead_api.evidence.export import evidence_file  # noqa: PLC0415
    from steadybead_api.evidence.offline import offline_services  # noqa: PLC0415

    with offline_services(config, data) as (services, data_dir):
        weld = services.records.welds.get(weld_id)
        if weld is None:
            raise PlainError(f"there is no weld record {weld_id}: see the list of weld records")
        content = evidence_file(services, data_dir, weld, _OWNER)
    fresh = output.with_name(f"{output.name}.part")
    try:
        fresh.write_bytes(content)
        fresh.replace(output)
    finally:
        fresh.unlink(missing_ok=True)
    sys.stdout.write(f"{output}: weld {weld_id}, {len(content)} bytes\n")
    return DONE
