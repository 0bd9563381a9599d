"""All targets by name, with the inputs of a full run; each is loaded only where it runs."""

import importlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from fuzz.laws import Target


@dataclass(frozen=True)
class Entry:
    """A target by module and function; its inputs in a full run and in that of `make test`."""

    place: str
    full: int
    short: int

    def build(self, folder: Path) -> Target:
        """Make the target; it may use the folder."""
        module, _, name = self.place.partition(".")
        target: Target = getattr(importlib.import_module(f"fuzz.{module}"), name)(folder)
        return target


TARGETS: Mapping[str, Entry] = {
    "packets": Entry("octets.packets", 150_000, 400),
    "senml_json": Entry("messages.senml_json", 200_000, 400),
    "senml_cbor": Entry("messages.senml_cbor", 150_000, 400),
    "intake": Entry("messages.intake", 30_000, 100),
    "topics": Entry("messages.topics", 200_000, 500),
    "welds": Entry("messages.weld_messages", 150_000, 400),
    "foreign": Entry("messages.foreign_payloads", 120_000, 300),
    "times": Entry("messages.times", 150_000, 300),
    "plant": Entry("files.plant_file", 3000, 30),
    "plant_simulator": Entry("files.plant_file_of_simulator", 3000, 30),
    "scenario": Entry("files.scenario_file", 4000, 30),
    "procedures": Entry("files.procedures_file", 4000, 30),
    "filter_log": Entry("files.filter_log", 1500, 10),
    "drift_log": Entry("files.drift_log", 600, 6),
    "evidence": Entry("evidence.evidence_file", 8000, 25),
    "statement": Entry("evidence.evidence_statement", 5000, 25),
    "letters": Entry("evidence.letters", 8000, 40),
    "journal": Entry("stored.journal_rows", 40_000, 150),
    "chunks": Entry("stored.chunks", 15_000, 60),
    "calibrations": Entry("stored.calibrations", 60_000, 200),
    "http_raw": Entry("web.http_raw", 15_000, 60),
    "http_schema": Entry("web.http_schema", 10_000, 0),
}
