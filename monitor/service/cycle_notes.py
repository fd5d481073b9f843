"""What is written of a cycle when it begins and when it has ended (D-10)."""

from dataclasses import replace

from monitor.estimate.ensemble import percentiles, three_digits
from monitor.estimate.spool_answer import read
from monitor.estimate.spool_belief import stack_states, stacked
from monitor.estimate.spool_track import Track
from monitor.model.answers import Spread
from monitor.model.cycle import Cycle, LoadItem
from monitor.model.cycle_record import CycleNote, CycleSpool, HeldWater, Percent
from monitor.model.inventory import Inventory
from monitor.oven.state import Supervised
from monitor.physics.spool import spool_water_kg
from monitor.physics.spool_reading import mean_water_content, outer_water_content
from monitor.service.queries import Queries

_LONGEST = 40  # of a load, so that a note stays within its bound


def begun(
    oven: str,
    cycle: Cycle,
    queries: Queries,
    tracks: dict[str, Track],
    room: tuple[float | None, float | None] | None,
) -> CycleNote:
    """As it was confirmed, with the water believed then; `room` is its temperature and dew point."""
    inventory, library = queries.inventory(), queries.library()
    limits = {key: 100.0 * material.limit_content for key, material in library.materials.items()}
    room_c, dew_point_c = room or (None, None)
    return CycleNote(
        oven=oven,
        cycle=cycle.id,
        started_s=cycle.started_wall_s,
        who=cycle.who,
        is_unattended=cycle.is_unattended,
        is_armed_locally=cycle.is_armed_locally,
        setpoint_c=cycle.asked_setpoint_c,
        duration_s=cycle.duration_s,
        ceiling_c=cycle.ceiling_c,
        limit_c=cycle.limit_c,
        limited_by=cycle.limited_by,
        room_c=room_c,
        room_dew_point_c=dew_point_c,
        spools=tuple(_spool(item, inventory, limits, tracks) for item in cycle.load[:_LONGEST]),
    )


def ended(note: CycleNote, state: Supervised, tracks: dict[str, Track], now_s: float) -> CycleNote:
    """With how it ended, as far as the supervision knows, and what is believed of the water now."""
    spools = tuple(
        replace(spool, after=held(tracks[spool.key])) if spool.key in tracks else spool
        for spool in note.spools
    )
    closed = replace(note, spools=spools, ended_s=now_s, ending="unknown", why="Its end was not seen.")
    last = state.ended
    if last is not None and last.cycle == note.cycle:
        closed = replace(
            closed, ended_s=last.ended_wall_s, ending=str(last.ending), why=last.why, ran_s=last.ran_s,
            duration_s=last.duration_s, last_setpoint_c=last.setpoint_c,
        )  # fmt: skip
    cycle = state.cycle
    if cycle is not None and cycle.id == note.cycle:
        closed = replace(
            closed, energy_wh=cycle.tally.energy_wh, peak_c=cycle.tally.peak_c, holds=cycle.holds,
            overshoots=cycle.tally.overshoots, duration_s=cycle.duration_s,
        )  # fmt: skip
    return closed


def held(track: Track) -> HeldWater:
    """What a spool holds by the belief of it."""
    parameters, state = stacked([track.body], [track.belief]), stack_states([track.belief])
    return HeldWater(
        mean_pct=_rounded(percentiles(100.0 * mean_water_content(parameters, state)[0])),
        outer_pct=_rounded(percentiles(100.0 * outer_water_content(parameters, state)[0])),
        water_g=_rounded(percentiles(1000.0 * spool_water_kg(parameters, state)[0])),
        left_g=read([track])[0].left_g,
    )


def left_over(note: CycleNote) -> Spread:
    """Water above the limits of all spools as it ended [g]; unknown where one of them is."""
    sums = [0.0, 0.0, 0.0]
    for spool in note.spools:
        if spool.after is None or spool.limit_pct is None:
            return Spread(p10=None, p50=None, p90=None, why=f"the water of {spool.name} is not known")
        for place, mean_pct in enumerate(spool.after.mean_pct):
            sums[place] += max(mean_pct - spool.limit_pct, 0.0) / 100.0 * spool.after.left_g
    low, middle, high = (three_digits(value) for value in sums)
    return Spread(p10=low, p50=middle, p90=high)


def _spool(
    item: LoadItem, inventory: Inventory, limits: dict[str, float], tracks: dict[str, Track]
) -> CycleSpool:
    spool = inventory.spools.get(item.key)
    track = tracks.get(item.key)
    return CycleSpool(
        key=item.key,
        name=item.name,
        material="" if spool is None else spool.material,
        limit_pct=None if spool is None else limits.get(spool.material),
        material_limit_c=item.material_limit_c,
        body_limit_c=item.body_limit_c,
        before=None if track is None else held(track),
    )


def _rounded(values: tuple[float, float, float]) -> Percent:
    low, middle, high = (three_digits(value) for value in values)
    return low, middle, high
