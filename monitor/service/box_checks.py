"""Whether what was told of a box can be true: refused in one sentence that names the field and the range."""

from monitor.errors import BadInputError
from monitor.library import Library
from monitor.model.box_event import BoxEvent, BoxHistory, ChargeWeighed, Recharged, charges, told_of
from monitor.model.records import Withdrawn, effective, stated_at
from monitor.service.spool_checks import AHEAD_S, check_number, check_text

_EARLIEST_S = 1_577_836_800.0  # 2020-01-01
_MOST_G = 100_000.0
_MOST_LOADING_PCT = 700.0  # brine
_SAME_S = 60.0


def check_box_event(event: BoxEvent, history: BoxHistory, library: Library) -> None:
    """BadInputError if it cannot be true of this box at that time."""
    box = history.present()
    if box is None:
        raise BadInputError(f"box {event.box!r} is not in the inventory any more")
    check_text("who", event.who)
    if event.at_s > event.entered_s + AHEAD_S:
        raise BadInputError("at lies in the future; allowed is any time up to now")
    if event.at_s < _EARLIEST_S:
        raise BadInputError("at lies before 2020; allowed is any time from then up to now")
    if event.replaces is not None and event.replaces not in {e.event_id for e in effective(history.events)}:
        raise BadInputError(f"replaces is {event.replaces}, which is no standing record of this box")
    what = event.what
    if isinstance(what, Recharged):
        _recharged(what, event, history, library)
    elif isinstance(what, ChargeWeighed):
        _weighed(what, event, history)
    elif isinstance(what, Withdrawn):
        check_text("why", what.why)
        if event.replaces is None:
            raise BadInputError("replaces must name the record that is withdrawn")


def _recharged(what: Recharged, event: BoxEvent, history: BoxHistory, library: Library) -> None:
    library.desiccant(what.desiccant)
    check_number("dry_g", what.dry_g, 0.1, _MOST_G, "g")
    if what.loading_pct is not None:
        check_number("loading_pct", what.loading_pct, 0.0, _MOST_LOADING_PCT, "% of the dry mass")
    for other in told_of(history, Recharged):
        if other.event_id != event.replaces and abs(other.at_s - event.at_s) < _SAME_S:
            raise BadInputError("at: a charge is entered for that minute already; correct that one instead")


def _weighed(what: ChargeWeighed, event: BoxEvent, history: BoxHistory) -> None:
    check_number("resolution_g", what.resolution_g, 0.001, 100.0, "g")
    charge = stated_at(charges(history), round(event.at_s * 1000), None)
    if charge is None:
        raise BadInputError("mass_g cannot be used: no desiccant was inside at that time")
    # A scale is off by its step, and a few beads are always lost.
    least_g = 0.97 * charge.dry_g - what.resolution_g
    check_number(
        "mass_g", what.mass_g, least_g, 8.0 * charge.dry_g, "g, the charge being dry to full of water"
    )
