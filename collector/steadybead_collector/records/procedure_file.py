"""Procedures from a TOML file: a table per procedure under its id."""

import tomllib
from pathlib import Path
from typing import Any

from steadybead_collector.records import rows
from steadybead_domain.ids import checked_name
from steadybead_domain.ports import StoreError
from steadybead_domain.procedures import Procedure

START_SET = Path(__file__).with_name("procedures.toml")


def read_procedures(path: Path = START_SET) -> list[Procedure]:
    """Read all procedures of a file; StoreError names the file, the procedure and the remedy."""
    try:
        with path.open("rb") as file:
            tables = tomllib.load(file)
    except (OSError, ValueError, RecursionError) as error:
        raise StoreError(f"procedures {path.name}: {error}") from error
    return [_procedure(path, name, table) for name, table in tables.items()]


def _procedure(path: Path, name: str, table: Any) -> Procedure:
    try:
        item = rows.procedure_of(_with_units(table), checked_name(name, "procedure"), 1)
    except KeyError as error:
        raise StoreError(f"procedures {path.name}: [{name}] lacks {error}: add it") from error
    except (TypeError, ValueError, AttributeError) as error:
        raise StoreError(f"procedures {path.name}: [{name}]: {error}") from error
    for field in ("title", "material", "process", "source", "edition"):
        if not isinstance(getattr(item, field), str):
            raise StoreError(f"procedures {path.name}: [{name}] {field}: write a text")
    return item


def _with_units(table: dict[str, Any]) -> dict[str, Any]:
    """Expand windows written as `[low, high, "unit"]`."""
    windows = ("nozzle_temperature", "air_flow", "travel_speed", "rod_force")
    return {**table, **{name: _window(name, table[name]) for name in windows if name in table}}


def _window(name: str, value: Any) -> dict[str, Any]:
    shaped = isinstance(value, list) and len(value) == 3 and isinstance(value[2], str)
    if not shaped or not all(isinstance(side, int | float) for side in value[:2]):
        raise ValueError(f'{name}: write [low, high, "unit"]')
    low, high, unit = value
    if low > high:
        raise ValueError(f"{name}: low {low} is above high {high}")
    return {"low": float(low), "high": float(high), "unit": unit}
