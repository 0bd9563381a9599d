"""First receipts while the clock of this machine steps."""

from pathlib import Path

from fakes_ingest import MemoryFacts
from steadybead_collector.ingest.receipts import SURE_AFTER, Receipts
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.settled import SettledFile
from steadybead_domain.times import DAY, SECOND

NOON = 1_777_879_800_000_000


def message(mid: int, received: int, connection: int = 1, *, again: bool = False) -> Message:
    payload = b"%d" % mid
    return Message(
        "shop/dial", payload, received, mid, dup=again, connection=connection, backlog=again
    )


def first(receipts: Receipts, facts: MemoryFacts, item: Message) -> int:
    return receipts.first([item], facts.receipts)[0].time


def test_a_step_forward_makes_no_acknowledgement_sure() -> None:
    facts, receipts = MemoryFacts(), Receipts()
    early = message(1, NOON)
    first(receipts, facts, early)
    receipts.acknowledged([early], 0)
    late = message(2, NOON + DAY)
    first(receipts, facts, late)
    receipts.acknowledged([late], SECOND)
    assert receipts.settled_until == 0
    again = message(1, NOON + DAY + SECOND, 2, again=True)
    assert first(receipts, facts, again) == NOON


def test_after_a_step_back_what_comes_again_keeps_its_first_receipt() -> None:
    facts, receipts = MemoryFacts(), Receipts()
    ahead = message(1, NOON + DAY)
    first(receipts, facts, ahead)
    receipts.acknowledged([ahead], 0)
    receipts.acknowledged([], SURE_AFTER)
    assert receipts.settled_until == NOON + DAY
    open_yet = message(2, NOON)
    assert first(receipts, facts, open_yet) == NOON
    restarted = Receipts(receipts.settled_until)
    assert first(restarted, facts, message(2, NOON + SECOND, 2, again=True)) == NOON
    restarted.acknowledged([message(3, NOON + 2 * SECOND, 2)], 0)
    restarted.acknowledged([], SURE_AFTER)
    assert restarted.settled_until == NOON + 2 * SECOND


def test_a_receipt_from_before_a_step_back_is_found_in_a_backlog() -> None:
    facts, receipts = MemoryFacts(), Receipts()
    assert first(receipts, facts, message(1, NOON + DAY)) == NOON + DAY
    for received in (NOON, NOON + SECOND):
        again = Receipts().first([message(1, received, 2, again=True)], facts.receipts)[0]
        assert (again.time, again.backlog) == (NOON + DAY, False)


def test_a_disk_that_refuses_does_not_stop_the_writer(tmp_path: Path) -> None:
    place = tmp_path / "away"
    file = SettledFile(place)
    file.write(NOON)
    assert file.read() == 0
    place.mkdir()
    file.write(NOON)
    assert file.read() == NOON
