"""Units as they come on the wire, turned into plain factors once, when a file is loaded."""

from functools import cache, lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fractions import Fraction

    import pint

_REMEDY_LISTED = 12


class UnitError(ValueError):
    """A unit that is unknown, of another dimension, or that hides a reference condition."""


# spelling -> (kind, expression that pint reads); one kind, one dimension of the trade
_TEMPERATURE = {
    "Cel": "degC",
    "°C": "degC",
    "℃": "degC",
    "degC": "degC",
    "degF": "degF",
    "°F": "degF",
    "[degF]": "degF",
    "K": "kelvin",
}
_RATIO = {
    "/": "dimensionless",
    "1": "dimensionless",
    "%": "percent",
    "/100": "percent",
    "/1000": "permille",
}
_HUMIDITY = {"%RH": "percent", "%rH": "percent"}
_COUNT = {"count": "count", "counts": "count", "pulse": "count", "pulses": "count"}
_FREQUENCY = {"Hz": "hertz", "kHz": "kilohertz", "1/s": "hertz", "1/min": "1/minute"}
_PRESSURE = {
    "Pa": "pascal",
    "hPa": "hectopascal",
    "kPa": "kilopascal",
    "MPa": "megapascal",
    "mbar": "millibar",
    "bar": "bar",
    "mmH2O": "mmH2O",
    "cmH2O": "cmH2O",
    "inH2O": "inH2O",
    "mmHg": "mmHg",
    "inHg": "inHg",
    "psi": "psi",
}
_ELECTRIC = {
    "V": "volt",
    "mV": "millivolt",
    "uV": "microvolt",
    "µV": "microvolt",
    "μV": "microvolt",
    "kV": "kilovolt",
    "A": "ampere",
    "mA": "milliampere",
    "uA": "microampere",
    "µA": "microampere",
    "μA": "microampere",
    "W": "watt",
    "kW": "kilowatt",
    "mW": "milliwatt",
}
_FORCE = {"N": "newton", "kN": "kilonewton", "kgf": "kgf", "lbf": "lbf"}
_VOLUME = {
    "L": "liter",
    "l": "liter",
    "mL": "milliliter",
    "ml": "milliliter",
    "m3": "meter**3",
    "m³": "meter**3",
    "m^3": "meter**3",
    "dm3": "liter",
    "cm3": "milliliter",
    "ft3": "foot**3",
}
_LENGTH = {
    "m": "meter",
    "cm": "centimeter",
    "mm": "millimeter",
    "in": "inch",
    "ft": "foot",
}
_TIME = {"s": "second", "min": "minute", "h": "hour"}
_RATES = {
    f"{over}/{time}": f"{expression}/{second}"
    for table in (_VOLUME, _LENGTH)
    for over, expression in table.items()
    for time, second in _TIME.items()
}
_PLAIN = {
    **_TEMPERATURE,
    **_PRESSURE,
    **_ELECTRIC,
    **_FORCE,
    **_VOLUME,
    **_LENGTH,
    **_TIME,
    **_RATES,
    **_FREQUENCY,
}
# SI Brochure, 9th edition, table 7
_PREFIXES = {"micro": -6, "milli": -3, "centi": -2, "hecto": 2, "kilo": 3, "mega": 6}
_SI = {"pascal", "volt", "ampere", "watt", "newton", "meter", "hertz"}
_KINDS: dict[str, tuple[str, str]] = {
    **{name: ("", expression) for name, expression in _PLAIN.items()},
    **{name: ("ratio", expression) for name, expression in _RATIO.items()},
    **{name: ("relative humidity", expression) for name, expression in _HUMIDITY.items()},
    **{name: ("count", expression) for name, expression in _COUNT.items()},
}
_WITH_REFERENCE = {
    **{f"{name}/{time}": "DIN 1343" for name in ("NL", "Nl", "Nm3", "Nm³") for time in _TIME},
    **{f"{name}/{time}": "DIN 1343" for name in ("ln", "Ln", "NmL", "Nml") for time in _TIME},
    **{f"{name}/{time}": "ISO 2533" for name in ("SL", "Sl", "Sm3", "Sm³") for time in _TIME},
    **dict.fromkeys(("slm", "slpm", "SLM", "SLPM", "sccm", "SCCM", "scfm", "SCFM"), "ISO 2533"),
    **dict.fromkeys(("nlm", "nlpm", "NLM", "NLPM"), "DIN 1343"),
}


@lru_cache(maxsize=4096)
def to_unit(unit: str, target: str) -> tuple[float, float]:
    """Give (factor, offset) with value in `target` = factor · value in `unit` + offset.

    SenML spellings (RFC 8428 section 12.1, RFC 8798) and the trade's common ones are known;
    a ratio goes for relative humidity. Factors are pint's, computed in exact fractions. Raises
    UnitError with the remedy; a flow unit that hides a reference condition is refused too.
    """
    if unit == target and unit in _KINDS:
        return 1.0, 0.0
    kind, expression = _known(unit, target)
    target_kind, target_expression = _known(target, target)
    fits = kind == target_kind or (kind, target_kind) == ("ratio", "relative humidity")
    if not fits:
        raise UnitError(_other_dimension(unit, target))
    if expression == target_expression:
        return 1.0, 0.0
    by_prefix = _by_prefix(expression, target_expression)
    return by_prefix or _factors(unit, expression, target, target_expression)


def same_dimension(unit: str, target: str) -> bool:
    """Tell whether a value in `unit` can be turned into `target`."""
    try:
        to_unit(unit, target)
    except UnitError:
        return False
    return True


def _known(unit: str, target: str) -> tuple[str, str]:
    known = _KINDS.get(unit.strip())
    if known is not None:
        return known
    wrote, reference = _shown(unit), _WITH_REFERENCE.get(unit.strip())
    if reference is not None:
        raise UnitError(
            f"unit {wrote} carries a reference condition: "
            f'write L/min (or m3/h, …) and reference = "{reference}", if that is what is meant'
        )
    if target not in _KINDS:
        like = "a unit such as Cel, L/min, Pa, V, A, W, %, mV, mA"
        raise UnitError(f"unknown unit {wrote}: write {like}")
    units = _alternatives(target)
    raise UnitError(f"unknown unit {wrote}: write {units}")


def _by_prefix(expression: str, target_expression: str) -> tuple[float, float] | None:
    """Give the factor of units that differ by their SI prefix only, without the units library."""
    (power, base), (target_power, target_base) = map(_split, (expression, target_expression))
    if base not in _SI or base != target_base:
        return None
    return float(f"1e{power - target_power}"), 0.0


def _split(expression: str) -> tuple[int, str]:
    for prefix, power in _PREFIXES.items():
        if expression.startswith(prefix):
            return power, expression.removeprefix(prefix)
    return 0, expression


def _factors(
    unit: str, expression: str, target: str, target_expression: str
) -> tuple[float, float]:
    registry, fraction, dimension_error = _pint()
    try:
        zero, one = (
            registry.Quantity(fraction(x), expression).to(target_expression).magnitude
            for x in (0, 1)
        )
    except dimension_error:
        raise UnitError(_other_dimension(unit, target)) from None
    return float(one - zero), float(zero)


def _other_dimension(unit: str, target: str) -> str:
    wrote, units = _shown(unit), _alternatives(target)
    return f"unit {wrote} does not fit here: write {units}"


@lru_cache(maxsize=256)
def _alternatives(target: str) -> str:
    """Name the units that can be turned into `target`, which is a known one."""
    kind, expression = _KINDS[target]
    names = [target] + [
        name
        for name, (other_kind, other) in _KINDS.items()
        if name != target and kind == other_kind and _alike(expression, other)
    ]
    return ", ".join(names[:_REMEDY_LISTED])


def _alike(expression: str, other: str) -> bool:
    parse = _pint()[0].parse_units
    return bool(parse(expression).dimensionality == parse(other).dimensionality)


@cache
def _pint() -> "tuple[pint.UnitRegistry[Fraction], type[Fraction], type[Exception]]":
    from fractions import Fraction  # noqa: PLC0415  importing pint costs a third of a second

    import pint  # noqa: PLC0415

    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(
        non_int_type=Fraction, cache_folder=None
    )
    return registry, Fraction, pint.DimensionalityError


def _shown(unit: str) -> str:
    return repr(unit if len(unit) <= 30 else unit[:27] + "...")
