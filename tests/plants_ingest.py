"""Plant files for the tests of the collector's way in."""

from pathlib import Path

PLANT = """\
[site]
id = "north"
timezone = "Europe/Lisbon"

[[station]]
id = "bay-1"
procedure = "pp-speed-nozzle"

[station.blower]
intake_filter_limit_pa = 250

[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "mV"
conversion = { kind = "thermocouple", type = "K", cold_junction = "gun-a/terminal" }

[[station.channel]]
id = "gun-a/terminal"
quantity = "terminal_temperature"
unit = "Cel"

[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "mA"
principle = "thermal_mass"
reference = "DIN 1343"
conversion = { kind = "current_loop", at_4_ma = 0.0, at_20_ma = 100.0, to = "L/min" }

[[station.channel]]
id = "gun-a/stand"
quantity = "in_stand"
unit = "/"

[[station.channel]]
id = "blower/pressure"
quantity = "outlet_pressure"
unit = "kPa"

[[station]]
id = "bay-2"

[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "Cel"

[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "L/min"
source = { topic = "shop/meter7", pointer = "/flow/now" }

[[station.channel]]
id = "gun-a/set"
quantity = "set_temperature"
unit = "Cel"
source = { topic = "shop/dial", pointer = "" }
"""


def plant_file(folder: Path, text: str = PLANT) -> Path:
    """Write a plant file into the folder."""
    path = folder / "plant.toml"
    path.write_text(text, encoding="utf-8")
    return path
