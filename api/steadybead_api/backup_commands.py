"""The commands that copy a shop to another disk and back: `backup` and `restore`."""

import argparse
import sys
from pathlib import Path
from typing import Any

from steadybead_domain.errors import PlainError


def add_backup_commands(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the parsers of `backup` and `restore`."""
    backup = commands.add_parser(
        "backup", help="copy readings, records and keys, also while it runs"
    )
    backup.add_argument("folder", type=Path, help="a folder that is not there yet")
    backup.add_argument("--config", type=Path, required=True, help="the plant file")
    backup.add_argument("--data", type=Path, help="data folder (default: beside the plant file)")
    restore = commands.add_parser("restore", help="check a backup and make a data folder of it")
    restore.add_argument("folder", type=Path, help="what `backup` made")
    restore.add_argument("--config", type=Path, help="the plant file beside which the data go")
    restore.add_argument("--data", type=Path, help="data folder; empty, or not there yet")


def back_up_shop(words: argparse.Namespace) -> int:
    """Copy the shop, and say what is in the copy and what is not."""
    from steadybead_api.shop import folder_beside  # noqa: PLC0415
    from steadybead_collector.backups import back_up  # noqa: PLC0415
    from steadybead_collector.config import load_plant_file  # noqa: PLC0415

    plant_file = load_plant_file(words.config)
    data_dir = folder_beside(words.config, words.data)
    copied = back_up(plant_file.store, plant_file.text, data_dir, words.folder)
    sys.stdout.write(
        f"{copied.files} files, {copied.size / 1e6:.1f} MB in {words.folder}: keep it as safe as"
        " the shop itself, it holds the signing key; not in it: password files, and messages that"
        " wait in the embedded broker\n"
    )
    return 0


def restore_shop(words: argparse.Namespace) -> int:
    """Put a backup into an empty data folder, and say what was checked."""
    from steadybead_api.shop import folder_beside  # noqa: PLC0415
    from steadybead_collector.backups import PLANT, restore  # noqa: PLC0415

    if words.config is None and words.data is None:
        raise PlainError("restore where to: give --data, or the --config beside which it goes")
    data_dir = words.data if words.config is None else folder_beside(words.config, words.data)
    copied = restore(words.folder, data_dir)
    sys.stdout.write(
        f"{copied.files} files, {copied.size / 1e6:.1f} MB in {data_dir}; all hashes hold, also"
        f" those of {copied.chunks} sealed chunks; the plant file of that day is"
        f" {words.folder / PLANT}\n"
    )
    return 0
