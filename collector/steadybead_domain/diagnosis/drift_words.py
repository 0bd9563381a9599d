"""What the drift watch says to people."""

from collections.abc import Iterable, Mapping, Sequence

from steadybead_domain.diagnosis import signatures as s
from steadybead_domain.diagnosis.burn_in import MOST_C
from steadybead_domain.diagnosis.causes import Weighed
from steadybead_domain.diagnosis.feature import Feature
from steadybead_domain.diagnosis.finding import OVER, Finding, Sureness
from steadybead_domain.diagnosis.scope import Scope
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import format_rfc3339

CANNOT_TELL = "drift_cannot_tell"
DRIFT_OVER = "drift" + OVER
CERTAIN_SHARE = 0.97

FIGURES: Mapping[str, str] = {
    "balance": "power left over by the energy balance",
    "set_gap": "nozzle reading over set value",
    "controller_gap": "nozzle reading over the controller's own",
    "flow": "flow reading",
    "resistance": "hot resistance of the element",
    "supply": "supply voltage",
    "probe": "nozzle reading over needle probe",
    "meter": "flow reading over the meter held to the nozzle",
    "cold_emf": "nozzle reading over terminal when all is cold",
    "cold_flow": "flow reading with the air off",
}
_CONFIRM_PROBE = (
    "Hold the needle probe 5 mm inside the nozzle to confirm; look where the tip sits; then"
    " calibrate or change the thermocouple, and look through the welds since."
)
SUPPLY_TO_DO = (
    "Have the supply looked at by an electrician: long leads, a loaded circuit, a bad contact."
)
_SAYS: Mapping[str, tuple[str, str]] = {
    s.THERMOCOUPLE: (
        "the thermocouple reads {size} {way}",
        _CONFIRM_PROBE,
    ),
    s.FLOW_METER: (
        "the flow meter reads {size} {way}",
        "Hold a flow meter to the nozzle to confirm; clean or calibrate the gun's meter.",
    ),
    s.FLOW_LOSS: (
        "the flow has really fallen by {size}, or is set lower",
        "Look at intake filter, hose and nozzle, then set the flow again.",
    ),
    s.CONTROLLER: (
        "the air is really {size} {warmer} than the set value promises",
        "Hold the needle probe 5 mm inside the nozzle; then check the controller's own sensor.",
    ),
    s.ELEMENT: (
        "the element's resistance has risen by {size}",
        "Plan a new element; until then watch that the gun still reaches its set value.",
    ),
    s.SUPPLY: (
        "the supply voltage is {size} {lower} than usual",
        SUPPLY_TO_DO,
    ),
    s.POWER_OR_LOSS: (
        "power and heat do not fit by {size}, while temperature and flow seem right",
        "Check the power meter; look whether nozzle, insulation or draught have changed.",
    ),
    s.PROBE: (
        "the needle probe itself, or where it is held, is off by {size}",
        "Repeat the check with another probe, 5 mm inside the nozzle.",
    ),
    s.REFERENCE_METER: (
        "the flow meter used for the check is off by {size}",
        "Repeat the check with another flow meter.",
    ),
}
_TELLS_APART: Mapping[str, str] = {
    s.THERMOCOUPLE: "hold the needle probe 5 mm inside the nozzle ({size} is to be expected if"
    " it is the thermocouple)",
    s.FLOW_METER: "hold a flow meter to the nozzle ({size} is to be expected if it is the gun's"
    " meter)",
    s.FLOW_LOSS: "look at filter, hose and valve",
    s.CONTROLLER: "compare the controller's own reading with the needle probe",
    s.ELEMENT: "measure the element's resistance, cold and without power",
    s.SUPPLY: "measure the supply voltage at the gun under load",
    s.POWER_OR_LOSS: "check the power meter; if probe and flow meter agree with the log it is that",
    s.PROBE: "repeat the check with another probe",
    s.REFERENCE_METER: "repeat the check with another flow meter",
}
_STATION_WIDE = "the supply voltage"
_HELD = {s.THERMOCOUPLE: s.PROBE, s.FLOW_METER: s.REFERENCE_METER}
_CHANNELS: Mapping[str, Quantity] = {
    s.THERMOCOUPLE: Quantity.NOZZLE_TEMPERATURE,
    s.FLOW_METER: Quantity.AIR_FLOW,
    s.FLOW_LOSS: Quantity.AIR_FLOW,
    s.SUPPLY: Quantity.SUPPLY_VOLTAGE,
}


def finding_of(
    place: tuple[Station, str],
    time: int,
    since: int,
    taken: Sequence[Weighed],
    shifts: Mapping[str, tuple[float, float]],
    features: Mapping[str, Feature],
    scope: Iterable[Scope],
) -> Finding:
    """Word what was found; `taken` holds one cause, or those that cannot be told apart."""
    station, gun = place
    name = max(shifts, key=lambda n: abs(shifts[n][0]) / shifts[n][1])
    feature, known = features[name], len(taken) == 1
    words, to_do = _one(taken[0]) if known else _several(taken)
    return Finding(
        kind=taken[0].cause if known else CANNOT_TELL,
        station=station.id,
        gun=None if words.startswith(_STATION_WIDE) else gun,
        channel=_channel(station, gun, taken[0].cause) if known else None,
        time=time,
        since=since,
        words=f"{words if words.startswith(_STATION_WIDE) else f'gun {gun}: {words}'}. Seen:"
        f" {_moved(shifts)}.",
        next_step=to_do,
        sureness=_sureness(taken),
        value=feature.level.mean + shifts[name][0],
        reference=feature.level.mean,
        sigma=shifts[name][1],
        threshold=feature.smallest(),
        unit=feature.facts.unit,
        evidence=_evidence(taken, shifts, scope),
    )


def over_of(place: tuple[Station, str], time: int, cause: str, since: int) -> Finding:
    """Tell that what was told of a gun's drift (`cause` empty: could not be told) is over.

    The supply is no gun's own: its end is told as its beginning was, of the station.
    """
    station, gun = place
    what = cause.replace("_", " ") if cause else "a drift whose cause could not be told"
    return Finding(
        kind=DRIFT_OVER,
        station=station.id,
        gun=None if cause == s.SUPPLY else gun,
        channel=None,
        time=time,
        since=time,
        words=f"gun {gun}: {what} is over; all figures lie again where they did before.",
        next_step="Nothing; if nobody mended anything, keep an eye on it.",
        sureness=Sureness.LIKELY,
        evidence=(("began", format_rfc3339(since)),),
    )


def _sureness(taken: Sequence[Weighed]) -> Sureness:
    if len(taken) > 1:
        return Sureness.CANNOT_TELL
    return Sureness.CERTAIN if taken[0].share >= CERTAIN_SHARE else Sureness.LIKELY


def _one(cause: Weighed) -> tuple[str, str]:
    says, to_do = _SAYS[cause.cause]
    up = cause.size > 0
    words = says.format(
        size=_size(cause),
        way="high" if up else "low",
        warmer="hotter" if up else "colder",
        lower="lower" if up else "higher",
    )
    if cause.cause == s.THERMOCOUPLE and 0 < cause.size <= MOST_C:
        to_do += (
            " If it is a new type K, some 4 °C in the first hot hours are to be expected: then"
            " record the change and let the reference be learnt anew."
        )
    return words, to_do


def _several(taken: Sequence[Weighed]) -> tuple[str, str]:
    names = [_one(w)[0] for w in taken]
    words = "cannot tell whether " + ", or ".join(names)
    causes = {w.cause for w in taken}
    hidden = {gun for gun, held in _HELD.items() if {gun, held} <= causes}
    asked = [w for w in taken if w.cause not in hidden]
    checks = [_TELLS_APART[w.cause].format(size=_size(w)) for w in asked]
    return words, "To tell: " + "; ".join(checks) + "."


def _size(cause: Weighed) -> str:
    unit = "°C" if cause.unit == "Cel" else cause.unit
    return f"{abs(cause.size):.1f} {unit}"


def _moved(shifts: Mapping[str, tuple[float, float]]) -> str:
    far = {n: v for n, v in shifts.items() if abs(v[0]) > 2.0 * v[1]} or shifts
    return ", ".join(f"{FIGURES[n]} {far[n][0]:+.1f} {_unit(n)}" for n in far)


def _unit(figure: str) -> str:
    if figure in ("set_gap", "controller_gap", "probe", "cold_emf"):
        return "°C"
    return "L/min" if figure == "cold_flow" else "%"


def _evidence(
    taken: Sequence[Weighed], shifts: Mapping[str, tuple[float, float]], scope: Iterable[Scope]
) -> tuple[tuple[str, float | str | None], ...]:
    rows: list[tuple[str, float | str | None]] = []
    for w in taken:
        rows += [(f"share of {w.cause}", round(w.share, 3)), (f"size of {w.cause}", w.size)]
        rows += [(f"for {w.cause}", _names(w.speaks_for))]
        rows += [(f"against {w.cause}", _names(w.speaks_against))]
    rows += [(f"change of {FIGURES[n]} ({_unit(n)})", v[0]) for n, v in shifts.items()]
    missing = "; ".join(x.words for x in scope if x.smallest is None)
    return (*rows, ("not detectable", missing or None))


def _names(figures: Sequence[str]) -> str | None:
    return ", ".join(FIGURES[n] for n in figures) or None


def _channel(station: Station, gun: str, cause: str) -> ChannelId | None:
    quantity = _CHANNELS.get(cause)
    if quantity is None:
        return None
    owner = gun if quantity.facts.of_gun else None
    channel = station.channel_of(quantity, owner)
    return None if channel is None else channel.id
