"""The second language: complete, with the same places to fill in, and used by every page."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from steadybead_collector.config import PlantFileError, read_plant_text
from steadybead_collector.mqtt.pointer import PointerError, read_document
from steadybead_collector.mqtt.senml import SenmlError, read_cbor, read_json
from steadybead_dashboards.catalogue import (
    LANGUAGES,
    catalogue_text,
    chosen_language,
    translations,
)
from steadybead_dashboards.extract import updated
from steadybead_dashboards.phrasebook import FORMS, SENTENCE, Phrasebook, comma
from steadybead_dashboards.po_file import Message, PoError, read_po, write_po
from steadybead_dashboards.sentences import sentences_of
from steadybead_dashboards.site_time import moment
from steadybead_domain.alarms.book import worded
from steadybead_domain.alarms.catalogue import CATALOGUE
from steadybead_domain.alarms.change import Change
from steadybead_domain.conversion.units import UnitError, to_unit
from steadybead_domain.times import parse_rfc3339
from steadybead_domain.verdict.model import Verdict
from steadybead_domain.verdict.rule import DecisionRule
from verdict_samples import air, but, doubtful, heat, judged, steady, weld, without

TEMPLATES = Path(__file__).parents[2] / "dashboards/steadybead_dashboards/templates"
OTHERS = [name for name in LANGUAGES if name != "en"]
DEMO = Path(__file__).parents[2] / "simulator/steadybead_simulator/demo/plant.toml"
LISBON = ZoneInfo("Europe/Lisbon")
PLACES = re.compile(r"%\(\w+\)s|\{\w+\}")
# What is the same in English and German: units, names, and words that German took over.
SAME = re.compile(
    r"JSON|Parquet|PIN|Name|Start|Export|Filter|Sensor|Token|Live|Text|Revision|Live|[kU]|normal"
    r"|Zone|id|Set|Administrator|Wind|mqtt.*|Station|Note"
)


def entries(language: str) -> tuple[Message, ...]:
    return read_po(catalogue_text(language))[1]


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_of_the_source_is_translated_and_no_other(language: str) -> None:
    messages = read_po(updated(catalogue_text(language)))[1]
    missing = [m.msgid for m in messages if not m.texts or not all(m.texts) or m.fuzzy]
    assert missing == [], "run make texts, and write what is missing"
    gone = {m.key for m in entries(language)} - {m.key for m in messages}
    assert gone == set(), "run make texts"
    assert not any(m.obsolete for m in entries(language))


@pytest.mark.parametrize("language", OTHERS)
def test_a_translation_fills_in_what_the_english_fills_in(language: str) -> None:
    for m in entries(language):
        for english, text in zip((m.msgid, m.plural or m.msgid), m.texts, strict=False):
            wanted, given = set(PLACES.findall(english)), set(PLACES.findall(text))
            lost = wanted - given
            # English ends some words with an s that stands in a place of its own.
            assert given <= wanted, m.msgid
            assert lost <= {"{x}"}, m.msgid
        assert len(m.texts) == (2 if m.plural else 1), m.msgid


def test_words_were_translated_and_not_copied() -> None:
    copied = [
        m.msgid
        for m in entries("de")
        if m.texts[0] == m.msgid and not SAME.fullmatch(m.msgid) and m.context != SENTENCE
    ]
    assert copied == []


def test_a_catalogue_is_read_as_it_was_written() -> None:
    messages = (
        Message('a "quoted"\nline\t\\', ('ein "zitierter"\nText\t\\',), places=("a/b.py",)),
        Message("%(num)s thing", ("%(num)s Ding", "%(num)s Dinge"), plural="%(num)s things"),
        Message("open", ("offen",), context="sentence"),
        Message("new"),
    )
    head, again = read_po(write_po("Language: de\n", messages))
    assert head == "Language: de\n"
    assert again == (*messages[:3], replace(messages[3], texts=("",)))


@pytest.mark.parametrize("text", ['msgid "a\nmsgstr ""', 'msgid "a"\nnonsense "b"'])
def test_a_broken_catalogue_names_the_line(text: str) -> None:
    with pytest.raises(PoError, match=r"line [12]"):
        read_po(text)


@pytest.mark.parametrize(
    ("cookie", "accepted", "language"),
    [
        (None, "", "en"),
        (None, "de-DE,de;q=0.9,en;q=0.5", "de"),
        (None, "en-GB,en;q=0.9,de;q=0.8", "en"),
        (None, "fr,de;q=0.3", "de"),
        (None, "fr", "en"),
        (None, "*, de;q=0.5", "en"),
        (None, "de;q=0", "en"),
        (None, "de;q=x", "en"),
        ("de", "en", "de"),
        ("en", "de", "en"),
        ("xx", "de", "de"),
    ],
)
def test_the_person_chooses_else_the_browser_asks(
    cookie: str | None, accepted: str, language: str
) -> None:
    assert chosen_language(cookie, accepted) == language


def test_numbers_and_days_are_written_as_the_language_writes_them() -> None:
    at = parse_rfc3339("2026-07-01T22:30:00Z")
    assert moment(at, LISBON).day == "2026-07-01"
    german = moment(at, LISBON, "de")
    assert (german.day, german.date) == ("01.07.2026", "2026-07-01")
    assert comma("312.5 – 340 °C, −1.25") == "312,5 – 340 °C, −1,25"
    assert comma("127.0.0.1 v1.2 w-1.2.3") == "127.0.0.1 v1.2 w-1.2.3"


def test_counts_have_their_plural() -> None:
    german = translations("de")
    texts = ("%(num)s excursion", "%(num)s excursions")
    assert german.ngettext(*texts, 1) == "%(num)s Abweichung"
    assert german.ngettext(*texts, 2) == "%(num)s Abweichungen"
    assert german.ngettext(*texts, 0) == "%(num)s Abweichungen"


def test_every_sentence_that_the_source_can_make_is_known() -> None:
    german = translations("de")
    forms = {"size": "4.5 °C", "at": "body.name", "section": "site", "wrote": "'mV'"}
    for m in entries("de"):
        if m.context != SENTENCE:
            continue
        made = PLACES.sub(
            lambda p: forms.get(p.group()[1:-1]) or FORMS.get(p.group()[1:-1], "7").split("|")[0],
            m.msgid,
        )
        assert german.said(made), m.msgid


def test_a_refused_unit_is_told_in_german_with_its_channel() -> None:
    found = translations("de").said("unit of gun-a/flow: unit 'Pa' does not fit here: write L/min")
    assert found == "Einheit von gun-a/flow: Einheit 'Pa' passt hier nicht: L/min schreiben"


@pytest.mark.parametrize("target", ["L/min", "Pa", "Cel", "V", "%", "N", "m", "parsec"])
@pytest.mark.parametrize("unit", ["furlong", "cubic feet per minute", "scfm", "mV", ""])
def test_a_unit_that_does_not_fit_is_told_in_german_with_those_that_do(
    unit: str, target: str
) -> None:
    if (unit, target) == ("mV", "V"):
        return
    with pytest.raises(UnitError) as refused:
        to_unit(unit, target)
    for said in (str(refused.value), f"unit of gun-a/flow: {refused.value}"):
        found = translations("de").said(said) or ""
        assert "inheit" in found
        assert "schreiben" in found
        assert not re.search(r"\b(unit|unknown|write)\b", found), found


@pytest.mark.parametrize(
    "payload", [b"", b"{", b"nope", b"[1,", b"\xff", b"{} x", b'[{"n":"a" "v":1}]', b"\x00"]
)
def test_a_message_that_cannot_be_read_is_told_in_german_with_the_parser_s_words(
    payload: bytes,
) -> None:
    refused: list[str] = []
    for read in (read_json, read_cbor, read_document):
        try:
            read(payload)
        except (SenmlError, PointerError) as error:
            refused.append(error.detail)
    assert len(refused) >= 2
    for said in refused:
        if said != "not CBOR: bytes follow the array":
            assert translations("de").said(said) == "kein " + said.removeprefix("not ")


def test_alarms_are_told_in_german() -> None:
    german = translations("de")
    for entry in CATALOGUE.values():
        change = Change(0, "x", True, "a", "gun-a/nozzle", 331.5, 340.0, "Cel")
        for text in (worded(entry.what, change), entry.cause, entry.to_do, entry.for_whom):
            said = german.said(text)
            assert said is not None, text
            assert said != text, text
        assert "331.5" not in (german.said(worded(entry.what, change)) or "")


def verdicts() -> Iterator[Verdict]:
    yield judged(heat(steady()), air(steady(50.0)))
    yield judged(heat(but(steady(), 60.0, 90.0, 380.0)), air(steady(50.0)))
    yield judged(heat(without(steady(), 60.0, 90.0)), air(doubtful(steady(50.0), 60.0, 90.0)))
    yield judged(heat(steady(), standard=30.0), air(steady(54.9)))
    yield judged(procedure=None, weld=weld(stop=None), overlapping=("w-2", "w-3"), runs=())


def test_reasons_of_verdicts_are_told_in_german() -> None:
    german = translations("de")
    seen = 0
    for verdict in verdicts():
        said = [r.text for r in verdict.reasons]
        said += verdict.not_proven
        said += [r.text for j in verdict.judgements for r in j.reasons]
        seen += len(said)
        assert [text for text in said if german.said(text) is None] == []
    assert seen > 20
    assert german.said(DecisionRule().words) is not None


@pytest.mark.parametrize(
    ("good", "wrong"),
    [
        ('timezone = "Europe/Lisbon"', 'timezone = "Europe/Lisbo"'),
        ('quantity = "nozzle_temperature"', 'quantity = "nozle_temperature"'),
        ('quantity = "nozzle_temperature"', 'quantity = "air_flow"'),
        ('unit = "mV"', 'unit = "furlong"'),
        ('kind = "thermocouple"', 'kind = "magic"'),
        ('cold_junction = "gun-a/terminal"', 'cold_junction = "gun-x/terminal"'),
        ('id = "bay-1"', 'id = "bay 1"'),
        ('folder = "messages"', ""),
        ("[site]", "[sit]"),
        ("[site]", "[site"),
    ],
)
def test_mistakes_in_a_plant_file_are_told_in_german(good: str, wrong: str) -> None:
    german = translations("de")
    text = DEMO.read_text("utf-8").replace(good, wrong, 1)
    with pytest.raises(PlantFileError) as caught:
        read_plant_text(text, "plant file", None)
    for problem in caught.value.problems:
        for said in (problem.message, problem.remedy):
            assert german.said(said) not in (None, said), said


@pytest.mark.parametrize(
    ("english", "german"),
    [
        (
            (
                "gun a: the thermocouple reads 5.2 °C high. Seen: nozzle reading over needle probe"
                " +5.1 °C, power left over by the energy balance -3.2 %."
            ),
            (
                "Gerät a: das Thermoelement zeigt 5,2 °C zu viel an. Gesehen: Anzeige der Düse"
                " gegen den Nadelfühler +5,1 °C, in der Energiebilanz übrige Leistung -3,2 %."
            ),
        ),
        ("Gun a: the thermocouple reads 5.2 °C low", "Gerät a: das Thermoelement zeigt 5,2 °C"),
        (
            (
                "cannot tell whether the thermocouple reads 4.0 °C high, or the needle probe"
                " itself, or where it is held, is off by 4.0 °C. Seen: flow reading +1.0 %."
            ),
            (
                "nicht zu unterscheiden: das Thermoelement zeigt 4,0 °C zu viel an, oder der"
                " Nadelfühler selbst"
            ),
        ),
        (
            "instrument K-7 (type K, class 1, 1.5 mm) is due for calibration soon, due 2026-12-01",
            (
                "Messgerät K-7 (type K, class 1, 1.5 mm) ist bald zur Kalibrierung fällig, fällig"
                " am 01.12.2026"
            ),
        ),
        (
            (
                "nozzle high-speed, 3 mm round rod, as at the newest reference check; the"
                " terminal's temperature is not known: 25 °C taken"
            ),
            (
                "Düse high-speed, 3 mm round rod, wie bei der neuesten Vergleichsmessung; die"
                " Temperatur der Klemme ist nicht bekannt: 25 °C angenommen"
            ),
        ),
    ],
)
def test_sentences_within_sentences(english: str, german: str) -> None:
    assert (translations("de").said(english) or "").startswith(german)


def test_what_nobody_made_stays_english() -> None:
    german = translations("de")
    assert german.said("a sentence that is of no template at all") is None
    assert german.said("so; many, or; no, and, yes; " * 200) is None
    assert german.own("our own title") == "our own title"


def test_the_most_fixed_words_decide() -> None:
    book = Phrasebook({"{a}: {words}": "{a}! {words}", "gun {gun}: hot": "Gerät {gun} heiß"})
    assert book.translate("gun a: hot") == "Gerät a heiß"
    assert book.translate("gun b: 3.5") == "gun b! 3,5"


def test_sentences_are_read_from_source() -> None:
    source = '''
"""A docstring is no sentence."""
_log.warning("nor is a line of the log")
TEXT = "look at the filter"
def words(gun, low_c):
    if gun == "not this one": return ""
    return f"gun {gun}: only {low_c:.1f} of {low_c:.0f} °C" + "; have it mended"
'''
    assert list(sentences_of(source)) == [
        "look at the filter",
        "gun {gun}: only {low_c} of {low_c} °C",
        "have it mended",
    ]


JINJA = re.compile(r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}", re.DOTALL)
SKIPPED = re.compile(
    r"<(script|style|symbol)\b.*?</\1>|\{% block body_class %\}.*?\{% endblock %\}", re.DOTALL
)
TEXT = re.compile(r">([^<>]+)<")
ATTRIBUTE = re.compile(r'\b(?:aria-label|aria-roledescription|title|placeholder|alt)="([^"]*)"')
WORD = re.compile(r"[A-Za-z]{2,}|\b[b-zB-Z]\b")
# Units, names, and an address that is the same everywhere.
ALLOWED = re.compile(r"Steadybead|mm|min|L/min|°C|Pa|U|k =|h|s|SHA-256|/api/v1/work-list\.ics")


@pytest.mark.parametrize("path", sorted(TEMPLATES.glob("*.html")), ids=lambda p: p.stem)
def test_no_template_has_words_outside_the_catalogue(path: Path) -> None:
    bare = JINJA.sub(" ", SKIPPED.sub("", path.read_text("utf-8")))
    found = [*TEXT.findall(bare), *ATTRIBUTE.findall(bare)]
    assert [t.strip() for t in found if WORD.search(ALLOWED.sub("", t))] == []
