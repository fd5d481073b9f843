"""What every spool answers: from the follower's states to answers in finished figures."""

import threading
from dataclasses import replace

from monitor.estimate.spool_answer import Outlook, Reading, outlooks, read
from monitor.estimate.spool_course import Around
from monitor.estimate.spool_diary import Diary, Present, Stay
from monitor.estimate.spool_track import Track
from monitor.model.answers import SpoolAccount, SpoolAnswer, StayAnswer, unknown
from monitor.model.inventory import Inventory, Spool
from monitor.service.air import rfc3339
from monitor.service.follower import GRID_MS, LAG_MS, Follower
from monitor.service.limits import Limits
from monitor.service.spool_words import heading_in_oven, reasons, trend_words

WORKED_OUT = "its past is still being worked out"
_BUDGET = 20_000
_FRESH_MS = 60_000  # water moves in hours: figures of the last minute are as good


class SpoolAnswers:
    """Answers for all spools at a time; figures are kept for a minute, outlooks for half an hour."""

    def __init__(self, follower: Follower, *, is_live: bool) -> None:
        self._follower = follower
        self._is_live = is_live  # somebody else advances the follower; else it is done here, on demand
        self._lock = threading.Lock()
        self._key: tuple[int, int, frozenset[str]] | None = None
        self._tracks: dict[str, Track] = {}
        self._readings: dict[str, Reading] = {}
        self._outlook_key: tuple[int, int, frozenset[str]] | None = None
        self._outlooks: dict[str, Outlook] = {}
        self._lately: dict[str, Around] = {}
        self._ovens: frozenset[str] = frozenset()

    def all(
        self, inventory: Inventory, at_ms: int, limits: Limits, heated: frozenset[str] = frozenset()
    ) -> tuple[SpoolAnswer, ...]:
        """Every spool of the inventory, in its order; `heated` are ovens in which a cycle runs."""
        with self._lock:
            self._ovens = frozenset(inventory.ovens)
            self._bring_up(at_ms, heated)
            answers = [self._answer(spool, at_ms, limits) for spool in inventory.spools.values()]
        return tuple(_in_heat(answer) if answer.place in heated else answer for answer in answers)

    def _bring_up(self, at_ms: int, heated: frozenset[str]) -> None:
        if not self._is_live:
            while self._follower.advance(at_ms, _BUDGET):
                pass
        key = (self._follower.epoch, at_ms // _FRESH_MS, heated)
        if key == self._key:
            return
        self._tracks = self._follower.tracks(at_ms)
        self._readings = dict(zip(self._tracks, read(list(self._tracks.values())), strict=True))
        # While some are still worked out the next question may find more of them.
        self._key = key if self._follower.is_whole(self._tracks) else None
        # At the end of heat what was dried begins to take up water from the room (D-14).
        outlook_key = (self._follower.epoch, (at_ms - LAG_MS) // GRID_MS, heated)
        if outlook_key != self._outlook_key or set(self._outlooks) != set(self._tracks):
            self._lately = self._follower.lately(self._tracks, at_ms)
            names = list(self._tracks)
            found = outlooks([self._tracks[n] for n in names], [self._lately[n] for n in names])
            self._outlooks = dict(zip(names, found, strict=True))
            self._outlook_key = outlook_key

    def _answer(self, spool: Spool, at_ms: int, limits: Limits) -> SpoolAnswer:
        track = self._tracks.get(spool.key)
        if track is None:
            return not_followed(spool, limits, WORKED_OUT)
        reading, outlook = self._readings[spool.key], self._outlooks[spool.key]
        said = reasons(track, reading, outlook, self._lately[spool.key])
        if spool.place in self._ovens:
            said["heading_for_pct"] = heading_in_oven(self._lately[spool.key])
        use_before, use_before_why = _use_before(reading, outlook, at_ms)
        diary, material = track.diary, track.body.material
        looser = material.looser_limit_content
        return SpoolAnswer(
            key=spool.key,
            name=spool.name,
            material=spool.material,
            place=spool.place,
            moisture_pct=reading.moisture_pct,
            outer_pct=reading.outer_pct,
            limit_pct=round(100.0 * material.limit_content, 4),
            heading_for_pct=outlook.heading_for_pct,
            length_m=reading.length_m,
            dry_length_m=reading.dry_length_m,
            verdict=reading.verdict,
            verdict_why=reading.verdict_why,
            use_before=use_before,
            use_before_why=use_before_why,
            exposure_h=round(diary.exposure_s / 3600.0, 1),
            profile=reading.profile,
            looser_limit_pct=None if looser is None else round(100.0 * looser, 4),
            water_g=reading.water_g,
            left_g=reading.left_g,
            trend=outlook.trend,
            trend_why=trend_words(outlook),
            reasons=said,
            account=_account(diary),
        )


def not_followed(spool: Spool, limits: Limits, why: str) -> SpoolAnswer:
    """A spool of which nothing is computed, and why."""
    return SpoolAnswer(
        key=spool.key,
        name=spool.name,
        material=spool.material,
        place=spool.place,
        moisture_pct=unknown(why),
        outer_pct=unknown(why),
        limit_pct=round(limits.moisture_pct(spool.material), 4),
        heading_for_pct=None,
        heading_for_pct_why=why,
        length_m=None,
        length_m_why=why,
        dry_length_m=unknown(why),
        verdict="not_sure",
        verdict_why=why,
        use_before=None,
        use_before_why=why,
        exposure_h=None,
        exposure_h_why=why,
    )


def _use_before(reading: Reading, outlook: Outlook, at_ms: int) -> tuple[str | None, str | None]:
    """The moment by which one in ten would say that it is over its limit (D-01)."""
    if reading.verdict == "damaged":
        return None, "it is damaged"
    if outlook.over_after_s == 0.0:
        return None, "it may be over its limit already"
    if outlook.over_after_s is None:
        return None, "the air where it is does not take its outer windings over the limit within 90 days"
    return rfc3339(round(at_ms / 1000.0 + outlook.over_after_s)), None


def _in_heat(answer: SpoolAnswer) -> SpoolAnswer:
    """While it is dried no time runs out; it begins with the end of heat (B-19)."""
    why = "it is being dried: from the end of heat on the room's air wets it"
    return replace(
        answer,
        use_before=None,
        use_before_why=why,
        trend="recover",
        trend_why="It is being dried in an oven.",
    )


def _account(diary: Diary) -> SpoolAccount:
    return SpoolAccount(
        reset=None if diary.reset_s is None else rfc3339(diary.reset_s),
        partly_reset=None if diary.partly_s is None else rfc3339(diary.partly_s),
        dryings=diary.dryings,
        hot_h=round(diary.hot_s / 3600.0, 1),
        assumed_h=round(diary.assumed_s / 3600.0, 1),
        weighing=diary.last_weighing,
        signs=diary.last_signs,
        stays=(*(_stay(stay) for stay in diary.stays), *_present(diary.present)),
    )


def _stay(stay: Stay) -> StayAnswer:
    return StayAnswer(
        place=stay.place,
        is_sealed=stay.is_sealed,
        is_hot=stay.is_hot,
        begin=rfc3339(stay.from_s),
        end=rfc3339(stay.to_s),
        hours=round((stay.to_s - stay.from_s) / 3600.0, 1),
        gained_g=_grams(stay.gained_g),
        equivalent_pct=stay.equivalent_pct,
        worst_pct=None if stay.worst_pct is None else round(stay.worst_pct, 1),
        unmeasured_h=round(stay.unmeasured_s / 3600.0, 1),
    )


def _present(present: Present) -> tuple[StayAnswer, ...]:
    if present.to_s <= present.from_s:
        return ()
    return (
        StayAnswer(
            place=present.place,
            is_sealed=present.is_sealed,
            is_hot=present.is_hot,
            begin=rfc3339(present.from_s),
            end=None,
            hours=round((present.to_s - present.from_s) / 3600.0, 1),
            gained_g=_grams(present.gained_g),
            equivalent_pct=None,
            worst_pct=None if present.worst is None else round(100.0 * present.worst, 1),
            unmeasured_h=round(present.unmeasured_s / 3600.0, 1),
        ),
    )


def _grams(value: float) -> float:
    return round(value, 2 if abs(value) < 1.0 else 1)
