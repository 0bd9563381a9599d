"""Too hot on a fluoropolymer is also a fume alarm: check the extraction.

HSE RR539 (found): carbonyl fluoride and hydrogen fluoride from certain fluoropolymers at the
highest welding temperatures. TWI (found): PVDF, ECTFE, FEP and PFA, use exhaust.
"""

from dataclasses import replace

import pytest

from steadybead_collector.records.procedure_file import read_procedures
from steadybead_domain.alarms.catalogue import CATALOGUE
from steadybead_domain.alarms.model import Priority
from steadybead_domain.diagnosis.signals import is_fluoropolymer

START_SET = read_procedures()


@pytest.mark.parametrize("material", ["PVDF", "ECTFE", "FEP", "PFA"])
def test_each_fluoropolymer_of_the_start_set_is_one(material: str) -> None:
    own = [p for p in START_SET if p.material.startswith(material)]
    assert own
    assert all(is_fluoropolymer(p) for p in own)


@pytest.mark.parametrize(
    ("material", "is_one"),
    [("lining of pvdf, 3 mm", True), ("E-CTFE (ECTFE) sheet", True), ("FEP/PFA", True),
     ("PP-H", False), ("PVC-U", False), ("HDPE fepped", False)],
)  # fmt: skip
def test_a_shop_may_word_its_material_as_it_likes(material: str, is_one: bool) -> None:
    assert is_fluoropolymer(replace(START_SET[0], material=material)) is is_one


def test_the_others_are_none() -> None:
    others = [p for p in START_SET if p.material.startswith(("PE", "PP", "PVC"))]
    assert len(others) >= 4
    assert not any(is_fluoropolymer(p) for p in others)
    assert not is_fluoropolymer(None)


def test_the_fume_alarm_says_more_and_is_graver() -> None:
    fume, plain = CATALOGUE["heat_high_fume"], CATALOGUE["heat_high"]
    assert (fume.priority, plain.priority) == (Priority.HIGH, Priority.MEDIUM)
    assert "check that the extraction draws" in fume.to_do
    assert "leave the fumes" in fume.to_do
    assert fume.family == plain.family
