"""Spools for a plan: from the follower's states, or from a few figures."""

from monitor.estimate.plan_course import LoadSpool
from monitor.estimate.spool_belief import Body, first_belief, print_off
from monitor.estimate.spool_track import Track
from monitor.model.catalogue import Material, Reel
from monitor.model.inventory import Spool


def followed(track: Track) -> LoadSpool:
    """As it is believed to be now, with its account (D-06)."""
    diary = track.diary
    return LoadSpool(
        body=track.body,
        belief=track.belief,
        dryings=diary.dryings,
        hot_h=diary.hot_s / 3600.0,
        spoiled=diary.spoiled,
    )


def described(spool: Spool, material: Material, reel: Reel) -> LoadSpool:
    """Of which nothing but its inventory line is known: what is not stated is taken for worse (D-03)."""
    body = Body(spool=spool, material=material, reel=reel)
    belief = first_belief(body)
    return LoadSpool(
        body=body, belief=print_off(body, belief, spool.used_g) if spool.used_g > 0.0 else belief
    )
