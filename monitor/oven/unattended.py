"""B-40, B-44, B-50, B-51: what unattended use asks for beyond a start; B-20, B-24: what a relay must do."""

from monitor.model.cycle import Actuator, Problem, StartOrder
from monitor.oven import hard, proof
from monitor.oven.site import TICK_WORDS, Checklist, Site
from monitor.oven.state import Supervised


def why_not(state: Supervised, order: StartOrder, wall_s: float) -> Problem | None:
    """Why nobody being there is not allowed; None also for a start that somebody stays with."""
    site = state.site
    if not order.unattended or site is None:
        return None
    return (
        _cutout(site)
        or _checklist(site.checklist, wall_s)
        or _proof(site, wall_s)
        or _detector(site)
        or _power_up(state, site)
    )


def _cutout(site: Site) -> Problem | None:
    if site.is_cutout_confirmed:
        return None
    detail = "No thermal cut-out is confirmed. It is what makes an oven safe; this program only lowers risk."
    return Problem(rule="B-51", title="Only with somebody there", detail=detail)


def _checklist(checklist: Checklist | None, wall_s: float) -> Problem | None:
    """Every item ticked, within the last 90 days; a date in the future is no date."""
    title = "The checklist for unattended use is not complete"
    if checklist is None:
        return Problem(rule="B-40", title=title, detail="It has never been gone through.")
    missing = [words for tick, words in TICK_WORDS.items() if tick not in checklist.ticked]
    if missing:
        return Problem(rule="B-40", title=title, detail=f"Not ticked: {'; '.join(missing)}.")
    if 0.0 <= wall_s - checklist.at_wall_s <= hard.CHECKLIST_VALID_S:
        return None
    return Problem(rule="B-40", title=title, detail="It is more than 90 days old. Go through it again.")


def _proof(site: Site, wall_s: float) -> Problem | None:
    if proof.is_valid(site.proof_tested_wall_s, wall_s):
        return None
    detail = "The yearly proof test is due. Until it is done somebody stays with the oven."
    return Problem(rule="B-50", title="The proof test is due", detail=detail)


def _detector(site: Site) -> Problem | None:
    """A detector that fell silent allows no new unattended start; to have one is on the checklist."""
    if site.detector is None or site.detector.is_heard:
        return None
    detail = "The smoke detector of the room has not been heard. Check its battery."
    return Problem(rule="B-44", title="The smoke detector is silent", detail=detail)


def _power_up(state: Supervised, site: Site) -> Problem | None:
    """B-20: what comes on by itself after a power cut may not do so with nobody there."""
    if state.parameters.actuator is not Actuator.RELAY:
        return None
    if site.relay is None or not site.relay.stays_off_after_power_loss:
        detail = "That it stays off after a power cut was not verified: record the proof test first."
        return Problem(rule="B-20", title="This relay may come on by itself", detail=detail)
    detail = "A press of its own button is not heard here, and would be switched on again: somebody stays."
    return Problem(rule="B-17", title="Only with somebody there", detail=detail)


def relay(state: Supervised) -> Problem | None:
    """A relay must count down by itself, and not be known to come on after a power cut, or it is not used.

    B-24 refuses one without a countdown for unattended use. Here it is refused altogether: with it,
    nothing would end the heat within one lease if this program died.
    """
    if state.parameters.actuator is not Actuator.RELAY:
        return None
    known = state.site.relay if state.site else None
    if known is None or not known.counts_down:
        detail = "It has no countdown of its own: if this program died, it would stay on."
        return Problem(rule="B-24", title="This relay may not switch heat", detail=detail)
    if known.stays_off_after_power_loss is False:
        detail = 'It must be set to "stay off after power loss", and it is not.'
        return Problem(rule="B-20", title="This relay may come on by itself", detail=detail)
    return None
