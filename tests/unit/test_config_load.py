import hashlib
from pathlib import Path

import pytest

from plants_ingest import PLANT, plant_file
from steadybead_collector.config import PlantFileError, load_plant_file
from steadybead_domain.conversion.specs import (
    CurrentLoop,
    FlowPrinciple,
    FlowReference,
    Linear,
    PulseCounter,
    SquareRoot,
    Thermocouple,
    VoltageLoop,
)
from steadybead_domain.errors import PlainError
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import AirSourceKind, Channel, PointerSource
from steadybead_domain.quantities import Quantity

CONTRACT_CHANNELS = """\
[site]
id = "north"
timezone = "Europe/Lisbon"
[mqtt]
url = "mqtt://127.0.0.1:1883"
[store]
readings = "sqlite"
records  = "sqlite"
[access]
read = "login"
"""


def _channel(tmp_path: Path, lines: str) -> Channel:
    text = PLANT.replace(
        'unit = "L/min"\nsource = { topic = "shop/meter7", pointer = "/flow/now" }', lines
    )
    assert text != PLANT
    plant = load_plant_file(plant_file(tmp_path, text)).plant
    return next(c for c in plant.stations[1].channels if c.quantity is Quantity.AIR_FLOW)


def test_a_plant_file_gives_the_plant_it_describes(tmp_path: Path) -> None:
    loaded = load_plant_file(plant_file(tmp_path), version=7)
    plant = loaded.plant
    assert (plant.site, plant.timezone, plant.version) == ("north", "Europe/Lisbon", 7)
    assert plant.sha256 == hashlib.sha256(PLANT.encode()).hexdigest()
    assert loaded.text == PLANT
    bay = plant.station(StationId("north", "bay-1"))
    assert bay is not None
    assert (bay.procedure, bay.guns) == ("pp-speed-nozzle", ("a",))
    assert bay.air.kind is AirSourceKind.BLOWER
    assert bay.air.intake_filter_limit_pa == 250.0
    nozzle, _, flow, *_ = bay.channels
    assert nozzle.id == ChannelId("north", "bay-1", "gun-a/nozzle")
    assert nozzle.conversion == Thermocouple("K", "gun-a/terminal")
    assert (nozzle.wire_unit, nozzle.unit) == ("mV", "Cel")
    assert flow.conversion == CurrentLoop(0.0, 100.0, "L/min")
    assert flow.flow is not None
    assert flow.flow.principle is FlowPrinciple.THERMAL_MASS
    assert flow.flow.reference is FlowReference.DIN_1343
    second = plant.stations[1].channels[1]
    assert second.source == PointerSource("shop/meter7", "/flow/now")


def test_without_settings_the_defaults_hold(tmp_path: Path) -> None:
    loaded = load_plant_file(plant_file(tmp_path))
    assert loaded.mqtt.url is None
    assert (loaded.mqtt.listen, loaded.mqtt.root) == ("127.0.0.1:1883", "steadybead/v1")
    assert (loaded.store.readings, loaded.store.records) == ("sqlite", "sqlite")
    assert loaded.access.read == "login"


def test_settings_are_read(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("opensesame\n")
    (tmp_path / "secret").chmod(0o600)
    (tmp_path / "ca.pem").write_text("x")
    settings = """
[mqtt]
url = "mqtts://broker.example:8883"
user = "collector"
password_file = "secret"
ca_file = "ca.pem"
topics = ["steadybead/v1/north/bay-1/#"]
[store]
readings = "influxdb+https://127.0.0.1:8086/steadybead"
readings_ca_file = "ca.pem"
spool_mb = 64
records = "postgresql://sb@db.example/steadybead"
[access]
read = "open"
"""
    loaded = load_plant_file(plant_file(tmp_path, PLANT + settings))
    assert loaded.mqtt.password() == "opensesame"
    assert loaded.mqtt.topics == ("steadybead/v1/north/bay-1/#",)
    assert loaded.mqtt.ca_file == tmp_path / "ca.pem"
    assert loaded.store.records.startswith("postgresql://")
    assert (loaded.store.readings_ca_file, loaded.store.spool_mb) == (tmp_path / "ca.pem", 64)
    assert loaded.access.read == "open"


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ('unit = "m3/h"', None),
        (
            (
                'unit = "V"\nconversion = { kind = "voltage_loop", at_low = 0, at_high = 200.0, '
                'to = "L/min", low_v = 1 }'
            ),
            VoltageLoop(0.0, 200.0, "L/min", 1.0, 10.0),
        ),
        (
            (
                'unit = "count"\nconversion = { kind = "pulse", litres_per_pulse = 0.1, '
                "rolls_over_at = 65536 }"
            ),
            PulseCounter(0.1, 65536),
        ),
        (
            (
                'unit = "hPa"\nconversion = { kind = "square_root", at_full = 300, '
                'full_drop_pa = 500, to = "L/min", reference = "DIN 1343" }'
            ),
            SquareRoot(300.0, 500.0, "L/min"),
        ),
        (
            'unit = "digits"\nconversion = { kind = "linear", factor = 0.5, to = "L/min" }',
            Linear(0.5, 0.0, "L/min"),
        ),
    ],
)
def test_each_conversion_kind_is_read(tmp_path: Path, lines: str, expected: object) -> None:
    channel = _channel(tmp_path, lines)
    assert channel.conversion == expected
    assert channel.flow is not None
    wanted = FlowReference.DIN_1343 if "DIN" in lines else FlowReference.ACTUAL
    assert channel.flow.reference is wanted


# (what is replaced, by what, words of the message, words of the remedy); the mistake is looked for
# on the line where the replacement begins, plus the offset at its end
MISTAKES = [
    ('id = "north"', 'id = "north"\nid = "x"', "is not TOML", "key = value", 1),
    ('id = "north"', "id = north", "is not TOML", "quotes", 0),
    ('id = "north"', 'id = "no/rth"', "bad id 'no/rth'", "A-Z a-z 0-9 _ -", 0),
    ('id = "north"\n', "", "id is missing", "add id", -1),
    ('"Europe/Lisbon"', '"Europe/Lisboa"', "unknown timezone", "Europe/Lisbon", 0),
    ("timezone =", "timezon =", "unknown key 'timezon'", "did you mean timezone?", 0),
    ('id = "bay-2"', 'id = "bay-1"', "station bay-1 stands twice", "its own id", 0),
    ('procedure = "pp', 'procedures = "pp', "unknown key", "did you mean procedure?", 0),
    ("[station.blower]", "[station.blowr]", "unknown key 'blowr'", "did you mean blower?", 0),
    ("intake_filter_limit_pa = 250", "intake_filter_limit = 250", "unknown key",
     "did you mean intake_filter_limit_pa?", 0),
    ("= 250", "= -1", "is -1", "above 0", 0),
    ("= 250", '= "250"', "not a number", "1.5", 0),
    ("= 250", "= nan", "not a number", "1.5", 0),
    ("[station.blower]", "[station.nitrogen]\n[station.blower]", "both blower and nitrogen",
     "one air source", 0),
    ('"gun-a/terminal"\nquantity', '"gun-a/nozzle"\nquantity', "gun-a/nozzle stands twice",
     "own id", 0),
    ('id = "gun-a/terminal"', 'id = "gun-a"', "bad id", "two names joined by one /", 0),
    ('id = "gun-a/stand"', 'id = "blower/stand"', "in_stand belongs to a gun", "gun-a/", 0),
    ('id = "blower/pressure"', 'id = "gun-a/pressure"', "belongs to the air source", "blower/",
     0),
    ('quantity = "in_stand"', 'quantity = "in_stnd"', "'in_stnd' is unknown",
     "did you mean in_stand?", 0),
    ('quantity = "in_stand"\n', "", "quantity is missing", "nozzle_temperature", -2),
    ('quantity = "in_stand"', 'quantity = "set_temperature"', "unit '/' does not fit", "Cel", 1),
    ('unit = "kPa"', 'unit = "L/min"', "'L/min' does not fit", "Pa", 0),
    ('unit = "kPa"', 'unit = "furlong"', "'furlong' does not fit", "Pa", 0),
    ('unit = "kPa"', "", "unit is missing", "add unit", -3),
    ('unit = "mV"', 'unit = "mA"', "a thermocouple starts from mV", "V", 0),
    ('unit = "mA"', 'unit = "Pa"', "a current loop starts from mA", "A", 0),
    ('kind = "thermocouple"', 'kind = "termocouple"', "unknown conversion kind",
     "did you mean thermocouple?", 0),
    ('type = "K"', 'type = "Q"', "type 'Q' is unknown", "K", 0),
    ('type = "K", ', "", "type is missing", "letter", 0),
    ('cold_junction = "gun-a/terminal"', 'cold_junction = "gun-a/terminl"', "is no channel here",
     "gun-a/terminal", 0),
    ('cold_junction = "gun-a/terminal"', 'cold_junction = "gun-a/flow"',
     "not a temperature by itself", "terminal", 0),
    (', cold_junction = "gun-a/terminal"', "", "cold_junction is missing", "°C", 0),
    ('to = "L/min"', 'to = "Pa"', "to 'Pa' does not fit", "L/min", 0),
    (', to = "L/min"', "", "to is missing", "add to", 0),
    ("at_20_ma = 100.0", "at_20_ma = 0.0", "at_4_ma and at_20_ma are the same", "two ends", 0),
    ("at_20_ma = 100.0, ", "", "at_20_ma is missing", "add at_20_ma", 0),
    ("at_20_ma", "at_20ma", "unknown key 'at_20ma'", "did you mean at_20_ma?", 0),
    ('reference = "DIN 1343"', 'reference = "DIN 1344"', "reference 'DIN 1344' is unknown",
     "did you mean DIN 1343?", 0),
    ('reference = "DIN 1343"', 'reference = "actual"', "thermal mass meter has no actual flow",
     "state the reference", 0),
    ('principle = "thermal_mass"', 'principle = "magic"', "principle 'magic' is unknown",
     "thermal_mass", 0),
    ('quantity = "in_stand"', 'quantity = "in_stand"\nprinciple = "thermal_mass"',
     "no flow meter", "leave principle", 1),
    ('quantity = "in_stand"', 'quantity = "in_stand"\nregulated = true', "regulated says nothing",
     "leave it out", 1),
    ('quantity = "in_stand"', 'quantity = "in_stand"\nregulated = "yes"', "neither true nor false",
     "regulated = true", 1),
    ('quantity = "in_stand"', 'quantity = "in_stand"\nsilence_s = 0', "silence_s is 0",
     "above 0", 1),
    ('quantity = "in_stand"\nunit = "/"', 'quantity = "terminal_temperature"\nunit = "Cel"',
     "gun a has terminal_temperature twice", "keep one", 0),
    ('pointer = "/flow/now"', 'pointer = "flow"', "bad pointer 'flow'", "RFC 6901", 0),
    ('topic = "shop/meter7"', 'topic = "shop/+"', "bad topic 'shop/+'", "one topic", 0),
    ('topic = "shop/meter7", ', "", "topic is missing", "add topic", 0),
]  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda m: m[2])
def test_each_mistake_names_its_line_and_its_remedy(
    tmp_path: Path, mistake: tuple[str, str, str, str, int]
) -> None:
    old, new, message, remedy, offset = mistake
    assert PLANT.count(old) >= 1
    at = PLANT.index(old)
    line = PLANT[:at].count("\n") + 1 + offset
    with pytest.raises(PlantFileError) as caught:
        load_plant_file(plant_file(tmp_path, PLANT.replace(old, new, 1)))
    matching = [p for p in caught.value.problems if message in p.message]
    assert matching, str(caught.value)
    assert remedy in matching[0].remedy
    assert matching[0].line == line


SETTINGS_MISTAKES = [
    ('[mqtt]\nurl = "tcp://h"', "bad url", "mqtt://host:1883"),
    ('[mqtt]\nurl = "mqtt://u:p@h"', "carries a user or a password", "file of its own"),
    ('[mqtt]\nurl = "mqtt://h:99999"', "bad url", "mqtt://host:1883"),
    ('[mqtt]\nuser = "x"', "user without a password file", "password_file"),
    ('[mqtt]\nuser = "x"\npassword_file = "gone"', "cannot be read", "existing file"),
    ('[mqtt]\nlisten = "0.0.0.0:1883"', "no passwords", "127.0.0.1"),
    ('[mqtt]\nlisten = "127.0.0.1"', "bad listen", "127.0.0.1:1883"),
    ('[mqtt]\nlisten = "127.0.0.1:0"\nurl = "mqtt://h"', "both url and listen", "keep one"),
    ('[mqtt]\nroot = "a/+"', "bad topic root", "joined by /"),
    ('[mqtt]\ntopics = ["a/#/b"]', "bad topic filter", "# stands last"),
    ("[mqtt]\ntopics = []", "not a list of texts", "topics = "),
    ('[mqtt]\nca_file = "plant.toml"', "without an mqtts url", "mqtts://"),
    ('[store]\nreadings = "mysql://h"', "bad readings", "influxdb+http"),
    ('[store]\nrecords = "postgresql://u:p@h/d"', "carries a user or a password", "file"),
    ("[store]\nspool_mb = 0", "spool_mb is 0", "above 0"),
    ("[store]\nspool_mb = 1.5", "spool_mb is 1.5", "whole number"),
    ('[store]\nreadings_ca_file = "plant.toml"', "without an https server", "influxdb+https"),
    ('[access]\nread = "opn"', "read 'opn' is unknown", "did you mean open?"),
    ('[acess]\nread = "open"', "unknown key 'acess'", "did you mean access?"),
]  # fmt: skip


@pytest.mark.parametrize(("lines", "message", "remedy"), SETTINGS_MISTAKES)
def test_each_mistake_in_the_settings_is_named(
    tmp_path: Path, lines: str, message: str, remedy: str
) -> None:
    with pytest.raises(PlantFileError) as caught:
        load_plant_file(plant_file(tmp_path, PLANT + lines))
    assert message in caught.value.message
    assert remedy in caught.value.remedy
    assert PLANT.count("\n") < caught.value.line <= PLANT.count("\n") + 3


def test_a_gun_without_the_required_channels_is_named(tmp_path: Path) -> None:
    text = PLANT[: PLANT.index('[[station.channel]]\nid = "gun-a/flow"')]
    with pytest.raises(PlantFileError) as caught:
        load_plant_file(plant_file(tmp_path, text))
    assert "gun a has no air_flow channel" in str(caught.value)
    assert 'quantity = "air_flow"' in caught.value.remedy


def test_all_mistakes_are_reported_and_the_first_fills_one_line(tmp_path: Path) -> None:
    text = PLANT.replace("timezone", "timezon").replace('"kPa"', '"x"').replace("= 250", "= 0")
    with pytest.raises(PlantFileError) as caught:
        load_plant_file(plant_file(tmp_path, text))
    assert len(caught.value.problems) == 3
    assert [p.line for p in caught.value.problems] == sorted(p.line for p in caught.value.problems)
    assert "(and 2 more mistakes)" in str(caught.value)
    assert "\n" not in str(caught.value)
    assert isinstance(caught.value, PlainError)


def test_a_password_file_that_others_can_read_is_refused(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("x\n")
    (tmp_path / "secret").chmod(0o644)
    text = PLANT + '[mqtt]\nuser = "u"\npassword_file = "secret"\n'
    with pytest.raises(PlantFileError, match=r"can be read by other users.*chmod 600"):
        load_plant_file(plant_file(tmp_path, text))


@pytest.mark.parametrize("content", [b"\xff\xfe", b'[site]\nid = "\xe9"\n'])
def test_a_file_that_is_not_utf8_is_named(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "plant.toml"
    path.write_bytes(content)
    with pytest.raises(PlantFileError, match="is not UTF-8 text: save it as UTF-8"):
        load_plant_file(path)


def test_a_missing_file_a_folder_and_an_empty_file_are_named(tmp_path: Path) -> None:
    with pytest.raises(PlantFileError, match="cannot be read"):
        load_plant_file(tmp_path / "gone.toml")
    with pytest.raises(PlantFileError, match="cannot be read"):
        load_plant_file(tmp_path)
    with pytest.raises(PlantFileError, match=r"\[site\] is missing"):
        load_plant_file(plant_file(tmp_path, ""))


@pytest.mark.parametrize(
    "text",
    [
        "site = 1\nstation = 2\n",
        '[site]\nid = "a"\n[station]\nid = "b"\n',
        '[site]\nid = "a"\n[[station]]\n[[station.channel]]\n',
        '[site]\nid = ["a"]\n[[station]]\nid = 4\nchannel = [1, "x"]\n',
        'station = [[]]\nmqtt = "x"\nstore = []\naccess = 1.5\n[site]\nid = "a"',
        "a = " + "[" * 2000,
        CONTRACT_CHANNELS,
    ],
)
def test_nonsense_gives_an_error_and_no_traceback(tmp_path: Path, text: str) -> None:
    with pytest.raises(PlantFileError):
        load_plant_file(plant_file(tmp_path, text))
