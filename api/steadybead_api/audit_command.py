"""The command that checks the audit trail: `audit verify`."""

import argparse
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from steadybead_domain.errors import PlainError
from steadybead_domain.times import format_rfc3339

if TYPE_CHECKING:
    from steadybead_collector.evidence.trail_check import TrailCheck
    from steadybead_collector.records.chain import Head

_HEAD: Final = re.compile(r"(\d{1,18}):([0-9a-f]{64})")


def add_audit_command(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the parser of `audit verify`."""
    audit = commands.add_parser("audit", help="check that the audit trail is what was written")
    what = audit.add_subparsers(dest="what", required=True, metavar="WHAT")
    verify = what.add_parser("verify", help="walk the chain; name the first entry that is wrong")
    verify.add_argument("--config", type=Path, required=True, help="the plant file")
    verify.add_argument("--data", type=Path, help="data folder (default: beside the plant file)")
    verify.add_argument(
        "--head",
        action="append",
        default=[],
        metavar="ENTRY:SHA256",
        help="what this command printed at another time; may be given again",
    )
    verify.add_argument(
        "--root",
        action="append",
        default=[],
        type=Path,
        help="a daily root that left the shop; may be given again",
    )


def verify_trail(words: argparse.Namespace) -> int:
    """Walk the trail; 0 if it is whole, 1 if not."""
    from steadybead_api.plant_stores import open_plant_records  # noqa: PLC0415
    from steadybead_api.shop import folder_beside  # noqa: PLC0415
    from steadybead_collector.config import load_plant_file  # noqa: PLC0415
    from steadybead_collector.evidence.roots import RootBook  # noqa: PLC0415
    from steadybead_collector.evidence.trail_check import check_trail  # noqa: PLC0415

    plant_file = load_plant_file(words.config)
    data_dir = folder_beside(words.config, words.data)
    if plant_file.store.records == "sqlite" and not (data_dir / "records.db").is_file():
        raise PlainError(f"there is no {data_dir / 'records.db'}: check --data")
    received = list(_received(words.head, words.root))
    records = open_plant_records(plant_file, data_dir)
    try:
        book = RootBook(data_dir)
        found = check_trail(records.audit, book.roots(), received)
        faults = [*found.faults, *book.faults()]
    finally:
        records.close()
    sys.stdout.write("".join(f"{line}\n" for line in (*faults, *_told(found))))
    return 1 if faults else 0


def _received(heads: list[str], roots: list[Path]) -> "Iterator[Head]":
    from steadybead_api.evidence.letters import read_letter  # noqa: PLC0415
    from steadybead_collector.records.chain import Head  # noqa: PLC0415

    for text in heads:
        match = _HEAD.fullmatch(text)
        if match is None:
            raise PlainError(f"--head {text[:80]}: write it as `audit verify` prints it")
        yield Head(int(match[1]), match[2])
    for path in roots:
        audit = read_letter(path).get("audit")
        if audit is None:
            raise PlainError(f"{path}: was made before the audit trail was chained")
        yield Head(int(audit["entry"]), str(audit["sha256"]))


def _told(found: "TrailCheck") -> Iterator[str]:
    walked = found.walked
    if walked.head is None:
        yield "the audit trail is empty"
        return
    if not found.faults:
        yield f"the audit trail is whole; {found.roots} daily roots know it"
    if walked.earlier is not None and walked.chained is not None:
        yield (
            f"chained since {format_rfc3339(walked.chained)}: entries up to {walked.earlier} are"
            " what they were then"
        )
    yield f"newest entry {walked.head.entry}:{walked.head.sha256}"
