"""What a box answers about its desiccant and its contents."""

from monitor.model.answers import (
    AirAnswer,
    BoxAnswer,
    DesiccantAnswer,
    TightnessAnswer,
    unknown,
)
from monitor.model.inventory import Box, Charge, Spool
from monitor.service.limits import Limits

NO_ESTIMATOR = "the estimate of the box is not part of this version"


def box_answer(box: Box, air: AirAnswer, inside: tuple[Spool, ...], limits: Limits) -> BoxAnswer:
    """A box with what is known of its air and its contents."""
    limit = limits.humidity_pct(inside)
    not_told = unknown(NO_ESTIMATOR)
    return BoxAnswer(
        key=box.key,
        name=box.name,
        room=box.room,
        air=air,
        limit_humidity_pct=round(limit[0], 1) if limit else None,
        limit_humidity_pct_why=None if limit else "no spool is inside",
        limit_material=limit[1] if limit else None,
        desiccant=_charge(box.desiccant) if box.desiccant else None,
        desiccant_why=None if box.desiccant else "no desiccant is entered in the inventory",
        tightness=TightnessAnswer(air_changes_per_h=not_told, water_g_per_day=not_told),
        lid_openings_7d=None,
        lid_openings_7d_why=NO_ESTIMATOR,
        spools=tuple(spool.key for spool in inside),
    )


def _charge(charge: Charge) -> DesiccantAnswer:
    not_told = unknown(NO_ESTIMATOR)
    return DesiccantAnswer(
        kind=charge.kind,
        dry_g=charge.dry_g,
        loading_pct=not_told,
        used=not_told,
        water_g=not_told,
        spent=None,
        spent_why=NO_ESTIMATOR,
        days_left=not_told,
    )
