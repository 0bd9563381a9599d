"""Whether a gun's channels can ever say *conforms* to a procedure, asked before a weld."""

from dataclasses import dataclass
from typing import Any

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.verdict import widest, window_of
from steadybead_api.worth import Valuer, near_in_store
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Station
from steadybead_domain.procedures import Procedure
from steadybead_domain.quantities import Quantity
from steadybead_domain.verdict.codec import plain
from steadybead_domain.verdict.conclude import JUDGED
from steadybead_domain.verdict.rule import Guarded, guarded


@dataclass(frozen=True, slots=True)
class Reach:
    """What a channel can say of a window. `guarded` None: nothing, for the reason in `words`."""

    quantity: Quantity
    channel: ChannelId | None
    guarded: Guarded | None
    words: str

    @property
    def can_conform(self) -> bool:
        """Tell whether some value would conform."""
        return self.guarded is not None and self.guarded.can_conform


def reach(services: Services, station: Station, gun: str, procedure: Procedure) -> list[Reach]:
    """Tell for each judged quantity what the guard bands leave of the window, as of now."""
    measuring, now = Measuring(services), services.clock()
    near = near_in_store(services, now)
    valuer = Valuer(services, measuring)
    found = []
    for quantity in JUDGED:
        channel = station.channel_of(quantity, gun)
        if channel is None:
            found.append(Reach(quantity, None, None, "there is no such channel at this gun"))
            continue
        try:
            window, _ = window_of(services, channel, procedure, near)
            limit = widest(window)
            if limit is None:
                raise ValueError("the procedure gives no window")  # noqa: TRY301
            budget = valuer.value(channel, now, limit, near).worth.budget
        except ValueError as error:
            found.append(Reach(quantity, channel.id, None, str(error)))
            continue
        limits = guarded(window, budget, services.rule, services.rule.average_s)
        found.append(Reach(quantity, channel.id, limits, _words(limits)))
    return found


def reach_json(item: Reach) -> dict[str, Any]:
    """Write it as JSON members."""
    members: dict[str, Any] = plain(item)
    return {**members, "can_conform": item.can_conform}


def _words(limits: Guarded) -> str:
    spread = f"U = {limits.expanded:.2g} {limits.unit}"
    if not limits.can_conform:
        return f"can never say that it conforms: {spread} is too much for this window"
    low = "…" if limits.accept_low is None else f"{limits.accept_low:.4g}"
    high = "…" if limits.accept_high is None else f"{limits.accept_high:.4g}"
    return f"conforms only for averages from {low} to {high} {limits.unit} ({spread})"
