"""What a box or spool answers about its water."""

from monitor.model.answers import (
    AirAnswer,
    BoxAnswer,
    DesiccantAnswer,
    SpoolAnswer,
    TightnessAnswer,
    unknown,
)
from monitor.model.inventory import Box, Charge, Spool
from monitor.service.limits import Limits

NO_ESTIMATOR = "the estimate of the box is not part of this version"
NO_FOLLOWER = "the moisture of spools is not followed in this version"


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


def answer(spool: Spool, limits: Limits) -> SpoolAnswer:
    """A spool as the inventory knows it."""
    not_told = unknown(NO_FOLLOWER)
    return SpoolAnswer(
        key=spool.key,
        name=spool.name,
        material=spool.material,
        place=spool.place,
        moisture_pct=not_told,
        outer_pct=not_told,
        limit_pct=round(limits.moisture_pct(spool.material), 4),
        heading_for_pct=None,
        heading_for_pct_why=NO_FOLLOWER,
        length_m=None,
        length_m_why=NO_FOLLOWER,
        dry_length_m=not_told,
        verdict="not_sure",
        verdict_why=NO_FOLLOWER,
        use_before=None,
        use_before_why=NO_FOLLOWER,
        exposure_h=None,
        exposure_h_why=NO_FOLLOWER,
    )
