"""The demo's shop has instruments in every state of calibration, entered once."""

from pathlib import Path

from api_shop import make_shop
from steadybead_api.demo_instruments import furnish
from steadybead_api.sensors import sensors


def test_the_demo_is_furnished_once(tmp_path: Path) -> None:
    shop = make_shop(tmp_path)
    furnish(shop.services)
    furnish(shop.services)
    found = [s for s in sensors(shop.services) if s.instrument is not None]
    assert {s.state for s in found} == {"valid", "due soon", "overdue"}
    assert len(found) == len(shop.records.instruments.all()) == 4
    assert len(shop.records.instruments.calibrations()) == 4
    assert not any(s.due.failed_as_found for s in found if s.due is not None)
    shop.close()
