"""What is believed of one box between two readings: small, frozen, packed to bytes and back."""

import math
import struct
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from monitor.estimate.box_model import LUMP_SHARES, BoxModel
from monitor.physics.constants import Array

# Rows of the state; after them two lumps of water content [kg/kg] for every spool, slow and fast.
# SWING is the logarithm of how far the air follows a day's warmth, against what the isotherm alone would do.
SKIN, CORE, LEAK, AIR, INWARD, OFFSET, CAPACITY, PACE, WANDER, SWING, LUMPS = range(11)
# Half a magnitude of tightness either side of 0.02 air changes per hour, its ends as likely as its middle.
_USUAL_CHANGES_1_S, _CHANGES_LN_SD = 0.022 / 3600.0, 1.1
_AIR_LN_SD, _INWARD_LN_SD, _PACE_LN_SD = 0.6, 1.0, 0.45
# What a two-part bed and lumped spools leave unexplained in the air: it comes and goes within a day or two.
WANDER_SD, WANDER_S = 0.0012, 1.5 * 86_400.0
_USUAL_ROOM_KG_M3 = 0.0103  # 50 %RH at 23 °C, until one is measured
HISTORY = 48  # half days
# A bed wants a day or so to even out after hands were in the box.
_AFTER_CHANGE_S = 86_400.0
_EVEN = 0.95
_SWING_LN_SD = 0.25  # windings and cool beads damp it
_VERSION = 2
_FIXED = 20  # numbers of lid, half day, block, recovery and of what may be missing
_HEAD, _TIMES = struct.Struct("<10H"), struct.Struct("<8d")
_PHASES = ("shut", "doubtful", "open")


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfDay:
    """Twelve hours of a box, kept so that a change can be dated and told from others."""

    span_s: float  # longer where readings were missing
    humidity_25c: float  # as measured, normalised to 25 °C
    drive_kg_m3: float  # vapour of the room less that of the box
    lid_water_kg: float
    recovery_ln: float | None = None  # of an opening, see Recovery


@dataclass(frozen=True, slots=True, kw_only=True)
class Lid:
    """How far an opening has got."""

    phase: str = "shut"  # "shut" | "doubtful" | "open"
    since_s: float = 0.0
    base_humidity: float = 0.0  # before it
    first_humidity: float = 0.0  # that stood out
    peak_humidity: float = 0.0
    share: float = 0.0  # of the room's air in it, over the base: mean of late, and the most
    most_share: float = 0.0
    is_told: bool = False  # that it was left open


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovery:
    """The hour after an opening: how much stays of what it brought tells the bed's area, so its grams."""

    since_s: float = 0.0  # first reading that stood out; 0 = none under way
    base: float = 0.0  # humidity at 25 °C before it
    peak: float = 0.0  # excess over the base; so are the sums
    early: float = 0.0
    early_count: int = 0
    late: float = 0.0
    late_count: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Readings gathered since the last update of the state; sums."""

    begun_s: float
    count: int = 0
    humidity: float = 0.0
    temperature_c: float = 0.0
    room_kg_m3: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxBelief:
    """State with covariance, and the little memory that readings need."""

    state: tuple[float, ...]
    covariance: tuple[float, ...]  # upper triangle, row by row
    time_s: float  # up to which the state has been carried
    seen_s: float  # of the newest reading used
    humidity: float  # of that reading
    temperature_c: float
    room_kg_m3: float
    warmth_c: float | None  # of the air up to `time_s`; None before the first update
    slow_c: float | None  # its mean over a day or so
    block: Block
    lid: Lid = Lid()
    recovery: Recovery = Recovery()
    settle_until_s: float = 0.0  # before then the air says little of the bed
    usual_room_kg_m3: float = 0.0  # recent mean
    usual_temperature_c: float = 22.0
    openings_per_s: float = 0.0
    openings_water_kg: float = 0.0  # of a usual opening
    spent_z: float | None = None  # standard deviations past the limit, smoothed; None before the first update
    drift: float = 0.0  # smoothed normalised innovation
    sensor_step: float = 0.0  # last one noticed, 0 to 1
    stepped_s: float = 0.0  # when
    refused: int = 0  # blocks in a row that did not fit
    blocks: int = 0  # used since the start
    half_begun_s: float = 0.0
    half: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)  # count, humidity, drive, lid water
    half_recovery_ln: float | None = None
    history: tuple[HalfDay, ...] = ()


def first_belief(model: BoxModel, time_s: float) -> BoxBelief:
    """Before any reading: what was entered, and how far such entries are usually off."""
    leak_m3_s = _USUAL_CHANGES_1_S * model.volume_m3
    tables = model.tables
    loading = model.loading if model.loading_now is None else model.loading_now
    state = [loading, loading, np.log(leak_m3_s), np.log(tables.air_m3_s)]
    state += [np.log(tables.core_rate_1_s), 0.0, 0.0, 0.0, 0.0, 0.0]
    spread = [0.5 * model.loading_sd, model.loading_sd, _CHANGES_LN_SD, _AIR_LN_SD]
    spread += [_INWARD_LN_SD, model.offset_sd, model.capacity_sd, _PACE_LN_SD, WANDER_SD, _SWING_LN_SD]
    for sorber in model.sorbers:
        state += [sorber.content] * len(LUMP_SHARES)
        spread += [sorber.content_sd] * len(LUMP_SHARES)
    covariance = np.diag(np.square(spread))
    covariance[SKIN, CORE] = covariance[CORE, SKIN] = 0.25 * model.loading_sd**2
    covariance[SKIN, SKIN] = model.loading_sd**2
    lumps = len(LUMP_SHARES)
    for row in range(LUMPS, len(state), lumps):  # a spool was as wet outside as inside, nearly
        of_spool = slice(row, row + lumps)
        covariance[of_spool, of_spool] = covariance[row, row] * (_EVEN + (1.0 - _EVEN) * np.eye(lumps))
    return BoxBelief(
        state=tuple(float(value) for value in state),
        covariance=upper(covariance),
        time_s=time_s,
        seen_s=time_s,
        humidity=-1.0,
        temperature_c=22.0,
        room_kg_m3=_USUAL_ROOM_KG_M3,
        warmth_c=None,
        slow_c=None,
        block=Block(begun_s=time_s),
        half_begun_s=time_s,
        openings_per_s=3.0 / (7.0 * 86_400.0),
        openings_water_kg=0.010 * model.volume_m3,
    )


def restarted(model: BoxModel, belief: BoxBelief, *, is_new_charge: bool) -> BoxBelief:
    """After an entered change of desiccant or spools: what they do not touch is still believed.

    Args:
        model: With the change.
        belief: From before it; the spools' water starts anew in any case.
        is_new_charge: The desiccant is another one; else only spools were moved.
    """
    kept = [LEAK, OFFSET, PACE, WANDER, SWING]
    if not is_new_charge:
        kept += [SKIN, CORE, AIR, INWARD, CAPACITY]
    fresh = first_belief(model, belief.seen_s)
    state, covariance = np.array(fresh.state), square(fresh.covariance, len(fresh.state))
    rows = np.ix_(kept, kept)
    state[kept] = np.array(belief.state)[kept]
    covariance[kept, :], covariance[:, kept] = 0.0, 0.0
    covariance[rows] = square(belief.covariance, len(belief.state))[rows]
    return replace(
        belief,
        state=tuple(state.tolist()),
        covariance=upper(covariance),
        time_s=belief.seen_s,
        block=Block(begun_s=belief.seen_s),
        settle_until_s=belief.seen_s + _AFTER_CHANGE_S,
        spent_z=None,
        drift=0.0,
        refused=0,
        history=(),
        recovery=Recovery(),
        half=(0.0, 0.0, 0.0, 0.0),
        half_recovery_ln=None,
        half_begun_s=belief.seen_s,
    )


def upper(matrix: Array) -> tuple[float, ...]:
    """Upper triangle of a covariance, row by row."""
    return tuple(matrix[_upper_rows(len(matrix))].tolist())


def square(triangle: tuple[float, ...], size: int) -> Array:
    """The covariance again."""
    matrix = np.empty((size, size))
    rows, columns = _upper_rows(size)
    matrix[rows, columns] = matrix[columns, rows] = triangle
    return matrix


@cache
def _upper_rows(size: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Where the upper triangle lies; wanted for every block of every box."""
    return np.triu_indices(size)


def pack(belief: BoxBelief) -> bytes:
    """At most 2 kB: times as doubles, all else as floats, in the order of the members."""
    lid, block, recovery = belief.lid, belief.block, belief.recovery
    times = (
        *(belief.time_s, belief.seen_s, belief.settle_until_s, belief.half_begun_s),
        *(belief.stepped_s, block.begun_s, lid.since_s, recovery.since_s),
    )
    numbers = [getattr(belief, name) for name in _PLAIN]
    numbers += [lid.base_humidity, lid.first_humidity, lid.peak_humidity]
    numbers += [lid.share, lid.most_share, *belief.half]
    numbers += [block.humidity, block.temperature_c, block.room_kg_m3]
    numbers += [recovery.base, recovery.peak, recovery.early, recovery.late]
    numbers += [
        _or_nan(belief.half_recovery_ln),
        _or_nan(belief.warmth_c),
        _or_nan(belief.slow_c),
        _or_nan(belief.spent_z),
    ]
    numbers += [*belief.state, *belief.covariance]
    for half in belief.history:
        numbers += [half.span_s, half.humidity_25c, half.drive_kg_m3, half.lid_water_kg]
        numbers.append(_or_nan(half.recovery_ln))
    head = _HEAD.pack(
        _VERSION, len(belief.state), len(belief.history), _PHASES.index(lid.phase),
        belief.refused, min(belief.blocks, 65_535), block.count, int(lid.is_told),
        recovery.early_count, recovery.late_count,
    )  # fmt: skip
    return head + _TIMES.pack(*times) + struct.pack(f"<{len(numbers)}f", *numbers)


def unpack(data: bytes) -> BoxBelief:
    """Raises ValueError where the bytes are not a belief of this version."""
    head, times, numbers = _parts(data)
    _, size, halves, phase, refused, blocks, count, is_told, early, late = head
    plain = {name: next(numbers) for name in _PLAIN}
    base, first, peak, share, most_share = (next(numbers) for _ in range(5))
    half = (next(numbers), next(numbers), next(numbers), next(numbers))
    sums = (next(numbers), next(numbers), next(numbers))
    air_base, air_peak, air_early, air_late = (next(numbers) for _ in range(4))
    half_recovery_ln, warmth_c, slow_c, spent_z = (_or_none(next(numbers)) for _ in range(4))
    state = tuple(next(numbers) for _ in range(size))
    covariance = tuple(next(numbers) for _ in range(size * (size + 1) // 2))
    history = tuple(_half_day(numbers) for _ in range(halves))
    return BoxBelief(
        state=state,
        covariance=covariance,
        time_s=times[0],
        seen_s=times[1],
        settle_until_s=times[2],
        half_begun_s=times[3],
        stepped_s=times[4],
        block=Block(
            begun_s=times[5], count=count, humidity=sums[0], temperature_c=sums[1], room_kg_m3=sums[2]
        ),
        lid=Lid(
            phase=_PHASES[phase],
            since_s=times[6],
            base_humidity=base,
            first_humidity=first,
            peak_humidity=peak,
            share=share,
            most_share=most_share,
            is_told=bool(is_told),
        ),
        recovery=Recovery(
            since_s=times[7],
            base=air_base,
            peak=air_peak,
            early=air_early,
            early_count=early,
            late=air_late,
            late_count=late,
        ),
        refused=refused,
        blocks=blocks,
        half=half,
        half_recovery_ln=half_recovery_ln,
        warmth_c=warmth_c,
        slow_c=slow_c,
        spent_z=spent_z,
        history=history,
        **plain,
    )


def _parts(data: bytes) -> tuple[tuple[int, ...], tuple[float, ...], Iterator[float]]:
    """Counts, times and all other numbers; none of them is missing."""
    begun = _HEAD.size + _TIMES.size
    if len(data) < begun:
        raise ValueError("these bytes are not a belief")
    head = _HEAD.unpack_from(data)
    version, size, halves = head[:3]
    if version != _VERSION:
        raise ValueError(f"a belief of version {version} is not understood")
    told = len(_PLAIN) + _FIXED + size * (size + 3) // 2 + 5 * halves
    if len(data) != begun + 4 * told:
        raise ValueError("these bytes are not a whole belief")
    return head, _TIMES.unpack_from(data, _HEAD.size), iter(struct.unpack_from(f"<{told}f", data, begun))


def _half_day(numbers: Iterator[float]) -> HalfDay:
    span_s, humidity, drive, lid_kg, recovery = (next(numbers) for _ in range(5))
    return HalfDay(
        span_s=span_s,
        humidity_25c=humidity,
        drive_kg_m3=drive,
        lid_water_kg=lid_kg,
        recovery_ln=_or_none(recovery),
    )


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value


_ELSEWHERE = {"state", "covariance", "block", "lid", "recovery", "half", "half_recovery_ln", "history"} | {
    "refused",
    "blocks",
    "warmth_c",
    "slow_c",
    "spent_z",
}
_PLAIN = tuple(
    spec.name for spec in fields(BoxBelief) if spec.name not in _ELSEWHERE and not spec.name.endswith("_s")
) + ("openings_per_s",)
