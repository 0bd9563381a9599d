"""The alarm state model as one pure function of fact, human act and time.

States and terms after IEC 62682 / ISA-18.2, from memory. Two clocks meet here: facts carry the
time of the data, acts that of the server. Nothing is hidden because its time lies ahead of `now`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from steadybead_domain.alarms.catalogue import QUIET_RETURN
from steadybead_domain.alarms.model import ActKind, Alarm, AlarmAct, AlarmFact, AlarmState, Priority
from steadybead_domain.times import HOUR

LONGEST_SHELF = 24 * HOUR  # project assumption: a shelf is never for ever
_PUTTING_AWAY = (ActKind.SHELVE, ActKind.TAKE_OUT_OF_SERVICE)
_RANK = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


class BadActError(ValueError):
    """An act that the state model refuses; the message says what to do instead."""


@dataclass(frozen=True, slots=True)
class Condition:
    """What the state is derived from, each a plain yes or no."""

    active: bool
    latching: bool
    acknowledged: bool
    acknowledged_after_return: bool = False
    shelved: bool = False
    suppressed: bool = False
    out_of_service: bool = False
    merged: bool = False


def state_of(c: Condition) -> AlarmState:
    """Give the state: out of service before shelved before suppressed before the process."""
    if c.merged:
        return AlarmState.NORMAL
    if c.out_of_service:
        return AlarmState.OUT_OF_SERVICE
    if c.shelved:
        return AlarmState.SHELVED
    if c.suppressed:
        return AlarmState.SUPPRESSED
    if c.active:
        return AlarmState.ACKNOWLEDGED if c.acknowledged else AlarmState.UNACKNOWLEDGED
    return _returned(c)


def _returned(c: Condition) -> AlarmState:
    if not c.acknowledged:
        return AlarmState.LATCHED_UNACKNOWLEDGED if c.latching else AlarmState.RETURNED
    if c.latching and not c.acknowledged_after_return:
        return AlarmState.LATCHED_ACKNOWLEDGED
    return AlarmState.NORMAL


def alarm_state(facts: Sequence[AlarmFact], acts: Sequence[AlarmAct], now: int) -> Alarm:
    """Derive the alarm from the facts and acts of one occurrence.

    Facts in any order; acts in the order in which they were committed, so that a server clock
    that goes back changes nothing. Repeats change nothing. Shelving or taking out of service an
    occurrence that was over is void. ValueError if there is no fact that raises.
    """
    ordered = sorted(facts, key=lambda f: (f.time, f.active))
    raises = _raises(ordered)
    last_raise, latest = raises[-1], ordered[-1]
    shown = replace(_gravest(ordered, last_raise), time=raises[0].time, suppressed=False)
    cleared = None if latest.active else _cleared(ordered)
    acks = _acknowledgements(acts, raises)
    ack = acks[-1] if acks else None
    after = ack is not None and cleared is not None and ack.time >= cleared
    valid = acts
    if cleared is not None and (ending := _ending(acks, cleared, last_raise.latching)):
        valid = _before_end(acts, ending, cleared)
    shelf = _shelf(valid)
    condition = Condition(
        active=latest.active,
        latching=last_raise.latching,
        acknowledged=ack is not None or (not latest.active and shown.kind in QUIET_RETURN),
        acknowledged_after_return=after,
        shelved=shelf is not None and now < shelf,
        suppressed=latest.active and latest.suppressed,
        out_of_service=_out_of_service(valid),
        merged=any(f.merged_into for f in ordered),
    )
    return Alarm(
        raised=shown,
        state=state_of(condition),
        active=latest.active,
        cleared=cleared,
        acknowledged_by="" if ack is None else acks[0].actor,
        acknowledged_at=None if ack is None else acks[0].time,
        shelved_until=shelf if condition.shelved else None,
        last_raised=last_raise.time,
    )


def checked_act(act: AlarmAct, alarm: Alarm | None = None) -> AlarmAct:
    """Return the act if the model can take it; raise BadActError otherwise.

    With the alarm as it stands: what is over cannot be put away any more. To acknowledge twice,
    or what is over, is no error and changes nothing.
    """
    if alarm is not None and alarm.state is AlarmState.NORMAL and act.kind in _PUTTING_AWAY:
        raise BadActError(f"{act.kind.value}: the alarm is over, there is nothing to put away")
    if act.kind in _PUTTING_AWAY and not act.reason.strip():
        raise BadActError(f"{act.kind.value}: give a reason")
    if act.kind is ActKind.SHELVE:
        if act.until is None:
            raise BadActError("shelve: give an end")
        if not act.time < act.until <= act.time + LONGEST_SHELF:
            hours = LONGEST_SHELF // HOUR
            raise BadActError(f"shelve: the end must lie ahead, at most {hours} h")
    return act


def _raises(ordered: Sequence[AlarmFact]) -> list[AlarmFact]:
    raises: list[AlarmFact] = []
    standing: AlarmFact | None = None
    for fact in ordered:
        if not fact.active:
            standing = None
        elif standing is None or _RANK[fact.priority] < _RANK[standing.priority]:
            raises.append(fact)
            standing = fact
    if not raises:
        raise ValueError("no fact raises this alarm")
    return raises


def _gravest(ordered: Sequence[AlarmFact], last_raise: AlarmFact) -> AlarmFact:
    """Give the newest fact of the last raise's priority: one family may change its kind."""
    since = [f for f in ordered if f.active and f.time >= last_raise.time and not f.suppressed]
    return next((f for f in reversed(since) if f.priority is last_raise.priority), last_raise)


def _cleared(ordered: Sequence[AlarmFact]) -> int:
    cleared = ordered[-1].time
    for fact in reversed(ordered):
        if fact.active:
            break
        cleared = fact.time
    return cleared


def _acknowledgements(acts: Sequence[AlarmAct], raises: Sequence[AlarmFact]) -> list[AlarmAct]:
    """Give the acknowledgements that are of the last raise."""
    last = raises[-1].time
    return [a for a in acts if a.kind is ActKind.ACKNOWLEDGE and _is_of(a, last, len(raises))]


def _is_of(act: AlarmAct, last_raise: int, raises: int) -> bool:
    if act.of_raise is not None:
        return act.of_raise >= last_raise
    return raises == 1 or act.time >= last_raise


def _ending(acks: Sequence[AlarmAct], cleared: int, latching: bool) -> AlarmAct | None:
    """Give the acknowledgement with which a returned occurrence is over."""
    return next((a for a in acks if not latching or a.time >= cleared), None)


def _before_end(acts: Sequence[AlarmAct], ending: AlarmAct, cleared: int) -> list[AlarmAct]:
    """Leave out what would put away an occurrence that was over."""
    place = list(acts).index(ending)
    return [
        a
        for i, a in enumerate(acts)
        if a.kind not in _PUTTING_AWAY or i < place or ending.time <= a.time < cleared
    ]


def _last(acts: Sequence[AlarmAct], kinds: Sequence[ActKind]) -> AlarmAct | None:
    """Give the last act of the kinds; a repeat counts where it first stood."""
    found = list(dict.fromkeys(a for a in acts if a.kind in kinds))
    return found[-1] if found else None


def _shelf(acts: Sequence[AlarmAct]) -> int | None:
    last = _last(acts, (ActKind.SHELVE, ActKind.UNSHELVE))
    if last is None or last.kind is ActKind.UNSHELVE:
        return None
    longest = last.time + LONGEST_SHELF
    return longest if last.until is None else min(last.until, longest)


def _out_of_service(acts: Sequence[AlarmAct]) -> bool:
    last = _last(acts, (ActKind.TAKE_OUT_OF_SERVICE, ActKind.RETURN_TO_SERVICE))
    return last is not None and last.kind is ActKind.TAKE_OUT_OF_SERVICE
