"""Some channels of the README's shop, recorded."""

from collections.abc import Iterator, Mapping

from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Columns, Float64
from steadybead_domain.times import DAY, HOUR, parse_rfc3339
from steadybead_simulator.history import HistoryBlock, history
from steadybead_simulator.plants import plant_of
from steadybead_simulator.scenario import Scenario, Setup, Welder
from steadybead_simulator.truth import Truth

MONDAY = parse_rfc3339("2026-03-02T00:00:00Z")
TUESDAY = MONDAY + DAY
SEED = 7
WELDERS = (Welder("w-1"), Welder("w-2", pace=1.2, warm_up_s=420.0, changes_filter_at_pa=420.0))
SCENARIO = Scenario(
    welders=WELDERS, setups=(Setup("*", control="own", filter_drop_pa=150.0),), title="README"
)


class Recorded:
    """Some channels of a history joined into one, with its truth."""

    def __init__(self, blocks: Iterator[HistoryBlock], wanted: Mapping[str, ChannelId]) -> None:
        parts: dict[str, list[Columns]] = {name: [] for name in wanted}
        self.truth = list[Truth]()
        for block in blocks:
            self.truth += block.truth
            for name, channel in wanted.items():
                if channel in block.columns:
                    parts[name].append(block.columns[channel])
        joined = {name: Columns.concat(p) for name, p in parts.items()}
        self.time = next(iter(joined.values())).time
        self.value: dict[str, Float64] = {name: c.value for name, c in joined.items()}

    def hours(self, start: int) -> Float64:
        """Give the time in hours since `start`."""
        return (self.time - start) / HOUR


def record(days: int, names: str) -> Recorded:
    """Record channels of the first station, named apart by spaces, from a Monday on."""
    plant = plant_of(1, level="full")
    wanted = {n: ChannelId("north", "bay-1", n) for n in names.split()}
    return Recorded(history(plant, SCENARIO, SEED, MONDAY, MONDAY + days * DAY), wanted)
