"""What every box answers: air as measured, and from the estimator all that its humidity tells."""

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field

from monitor.alarms.wording import asked
from monitor.estimate.box_diagnosis import Cause
from monitor.estimate.box_forecast import LONGEST_DAYS, Forecast, Quantiles, TellsBy
from monitor.estimate.box_lid import ASKED_ABOUT, EventKind
from monitor.estimate.box_told import with_colour
from monitor.estimate.box_track import BoxTrack
from monitor.estimate.ensemble import three_digits
from monitor.library import Library
from monitor.model.answers import (
    AirAnswer,
    BoxAnswer,
    DesiccantAnswer,
    Diagnosis,
    Question,
    Spread,
    TightnessAnswer,
    unknown,
)
from monitor.model.box_event import BoxEvent, BoxHistory, ColourSeen, NothingDone, Noticed, Recharged, told_of
from monitor.model.inventory import Box, Charge, Inventory, Spool
from monitor.service.air import rfc3339
from monitor.service.box_insight import Insight
from monitor.service.followers import Followers
from monitor.service.limits import Limits

WORKED_OUT = "its past is still being worked out"
NO_LIMIT = "no spool is inside: nothing says how dry it has to be"
NO_SENSOR = "no sensor is placed in it"
NO_DESICCANT = "no desiccant is entered"
_FRESH_MS = 60_000
_WEEK_MS, _ASKED_MS = 7 * 86_400_000, 14 * 86_400_000
# An answer counts for what was noticed this long before or after: people remember the half day.
_ANSWERS_MS = 12 * 3_600_000
_COLOUR_WORDS = {"dry": "as when dry", "turning": "turning", "turned": "turned"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """All boxes as of a time."""

    tracks: Mapping[str, BoxTrack] = field(default_factory=dict)
    insights: Mapping[str, Insight] = field(default_factory=dict)
    noticed: tuple[Noticed, ...] = ()
    histories: Mapping[str, BoxHistory] = field(default_factory=dict)


class BoxAnswers:
    """Answers for all boxes at a time; what was worked out is looked up anew once a minute."""

    def __init__(self, followers: Followers, *, is_live: bool) -> None:
        self._followers = followers
        self._is_live = is_live  # somebody else advances the followers; else it is done here, on demand
        self._lock = threading.Lock()
        self._key: tuple[int, int] | None = None
        self._seen = _Seen()

    def all(
        self,
        inventory: Inventory,
        air: Mapping[str, AirAnswer],
        at_ms: int,
        catalogue: tuple[Library, Limits],
        histories: Mapping[str, BoxHistory],
    ) -> tuple[BoxAnswer, ...]:
        """Every box of the inventory, in its order; `air` by box."""
        library, limits = catalogue
        with self._lock:
            self._bring_up(at_ms, histories)
            return tuple(
                _answer(box, inventory, air[key], at_ms, self._seen, library, limits)
                for key, box in inventory.boxes.items()
            )

    def insight(self, key: str) -> Insight | None:
        """What the last answer about a box rested on."""
        with self._lock:
            return self._seen.insights.get(key)

    def _bring_up(self, at_ms: int, histories: Mapping[str, BoxHistory]) -> None:
        if not self._is_live:
            self._followers.bring_up(at_ms)
        boxes = self._followers.boxes
        key = (boxes.epoch, at_ms // _FRESH_MS)
        if key == self._key:
            return
        tracks, tail = boxes.lately(at_ms)
        insights = self._with_changes(tracks, at_ms)
        self._seen = _Seen(
            tracks=tracks,
            insights=insights,
            noticed=(*boxes.noticed(at_ms - _ASKED_MS), *tail),
            histories=histories,
        )
        # While some are still worked out the next question may find more of them.
        self._key = key if boxes.is_whole(tracks) and len(insights) >= len(tracks) else None

    def _with_changes(self, tracks: Mapping[str, BoxTrack], at_ms: int) -> dict[str, Insight]:
        """The newest insights; of a box that was changed since the grid, one of what is inside now."""
        insights = self._followers.insights.all()
        for key, track in tracks.items():
            known = insights.get(key)
            if known is not None and known.track.model != track.model:
                insights[key] = self._followers.insights.of(key, track, at_ms)
        return insights


def _answer(
    box: Box,
    inventory: Inventory,
    air: AirAnswer,
    at_ms: int,
    seen: _Seen,
    library: Library,
    limits: Limits,
) -> BoxAnswer:
    inside = tuple(spool for spool in inventory.spools.values() if spool.place == box.key)
    limit = limits.humidity_pct(inside)
    track, insight = seen.tracks.get(box.key), seen.insights.get(box.key)
    history = seen.histories.get(box.key)
    charge = box.desiccant
    why = _why_not(box, charge, track, insight)
    noticed = [item for item in seen.noticed if item.box == box.key and item.at_ms <= at_ms]
    openings = sum(n.kind == EventKind.LID_OPENED and n.at_ms > at_ms - _WEEK_MS for n in noticed)
    is_open = track is not None and track.belief.lid.phase == "open"
    return BoxAnswer(
        key=box.key,
        name=box.name,
        room=box.room,
        air=air,
        limit_humidity_pct=round(limit[0], 1) if limit else None,
        limit_humidity_pct_why=None if limit else "no spool is inside",
        limit_material=limit[1] if limit else None,
        desiccant=None
        if charge is None
        else _desiccant(charge, history, insight, at_ms, library, why or (None if limit else NO_LIMIT), why),
        desiccant_why=None if charge else NO_DESICCANT,
        tightness=_tightness(insight, why),
        lid_openings_7d=None if track is None else openings,
        lid_openings_7d_why=(why or WORKED_OUT) if track is None else None,
        diagnosis=_diagnosis(insight, bool(limit), history, at_ms),
        spools=tuple(spool.key for spool in inside),
        estimate_at=None if track is None else rfc3339(track.belief.seen_s),
        missing=tuple(_missing(box, charge, inventory, inside, insight)),
        questions=_questions(noticed, history),
        lid_open_since=rfc3339(track.belief.lid.since_s) if track is not None and is_open else None,
    )


def _why_not(box: Box, charge: Charge | None, track: BoxTrack | None, insight: Insight | None) -> str | None:
    if box.channel is None:
        return NO_SENSOR
    if charge is None:
        return NO_DESICCANT
    if track is not None and track.belief.blocks == 0:
        return "it has not been measured for half an hour yet"
    return WORKED_OUT if track is None or insight is None else None


def _desiccant(
    charge: Charge,
    history: BoxHistory | None,
    insight: Insight | None,
    at_ms: int,
    library: Library,
    useful_why: str | None,  # why nothing can be told of what is useful here
    why: str | None,  # why nothing can be told at all
) -> DesiccantAnswer:
    kind = library.desiccants.get(charge.kind)
    told = None if why or insight is None else insight.forecast
    useful = None if useful_why else told
    since_s = insight.track.spent_since_s if insight is not None and useful is not None else None
    season = insight.season_days_left if insight is not None and useful is not None else None
    return DesiccantAnswer(
        kind=charge.kind,
        dry_g=charge.dry_g,
        loading_pct=_spread(told.loading if told else None, why, 100.0),
        used=_spread(useful.used if useful else None, useful_why),
        water_g=_spread(told.water_kg if told else None, why, 1000.0),
        spent=None if useful is None else since_s is not None,
        spent_why=useful_why,
        days_left=_days(useful.days_left if useful else None, useful_why),
        filled=None if charge.filled_s is None else rfc3339(charge.filled_s),
        regenerated=_is_regenerated(history, charge),
        tells_by=None if told is None else str(told.tells_by),
        settled_pct=None if told is None else _spread(told.settled_humidity, None, 100.0),
        days_left_season=None if season is None else _days(season, None),
        spent_since=None if since_s is None else rfc3339(since_s),
        fill_g_30_days=None if useful is None else _spread(useful.fill_kg_30_days, None, 1000.0),
        fill_g_90_days=None if useful is None else _spread(useful.fill_kg_90_days, None, 1000.0),
        opening_g=None if told is None else three_digits(1000.0 * told.opening_kg),
        opening_days=None if useful is None else _opening_days(useful),
        colour=_colour_words(history, useful is not None and since_s is not None, at_ms),
        danger=None if kind is None else kind.oven_refusal or kind.note,
    )


def _opening_days(useful: Forecast) -> float | None:
    return None if useful.opening_days is None else three_digits(useful.opening_days)


def _tightness(insight: Insight | None, why: str | None) -> TightnessAnswer:
    told = None if why or insight is None else insight.forecast
    return TightnessAnswer(
        air_changes_per_h=_spread(told.air_changes_per_h if told else None, why),
        water_g_per_day=_spread(told.leak_kg_per_day if told else None, why, 1000.0),
    )


def _diagnosis(
    insight: Insight | None, has_limit: bool, history: BoxHistory | None, at_ms: int
) -> tuple[Diagnosis, ...]:
    if insight is None:
        return ()
    colour = _last_colour(history)
    found = []
    for finding in insight.findings:
        if finding.cause is Cause.SATURATED and not has_limit:
            continue
        probability = finding.probability
        if finding.cause is Cause.SATURATED and colour is not None and isinstance(colour.what, ColourSeen):
            probability = with_colour(probability, colour.what.colour, at_ms / 1000.0 - colour.at_s)
        found.append(
            Diagnosis(
                cause=str(finding.cause),
                probability=round(probability, 2),
                advice=finding.act,
                evidence=finding.evidence,
            )
        )
    return tuple(found)


def _missing(
    box: Box,
    charge: Charge | None,
    inventory: Inventory,
    inside: tuple[Spool, ...],
    insight: Insight | None,
) -> list[str]:
    """What would have to be entered or measured for more to be told."""
    found = []
    if box.channel is None:
        found.append("No sensor is placed in this box: only what was entered is known.")
    if charge is None:
        found.append("No desiccant is entered: how long it lasts and how tight the box is cannot be told.")
    elif charge.filled_s is None:
        found.append(
            "When the desiccant was filled is not entered: what was used of it before, only the air tells."
        )
    if inventory.rooms[box.room].channel is None:
        found.append(
            "Its room has no sensor: 50 %RH at 23 °C is assumed there, and tightness is told as badly."
        )
    if not inside:
        found.append("No spool is inside: nothing says how dry it has to be.")
    if insight is not None and insight.forecast.tells_by is TellsBy.WATER_LET_IN:
        found.append(
            "This desiccant shows nothing in the air until it is nearly full: the water let in is counted."
            " Weigh it now and then, and enter what it weighs."
        )
    return found


def _questions(noticed: list[Noticed], history: BoxHistory | None) -> tuple[Question, ...]:
    """Changes that nobody entered, the newest of each kind, as long as nobody answered."""
    answered = (
        [] if history is None else [event.at_s * 1000 for event in told_of(history, Recharged, NothingDone)]
    )
    newest = {
        item.kind: item
        for item in noticed
        if item.kind in ASKED_ABOUT and all(abs(item.at_ms - at_ms) > _ANSWERS_MS for at_ms in answered)
    }
    return tuple(
        Question(at=rfc3339(item.at_ms / 1000.0), kind=item.kind, words=asked(item.kind))
        for item in newest.values()
    )


def _last_colour(history: BoxHistory | None) -> BoxEvent | None:
    """The newest look at the beads, since the charge was changed last."""
    if history is None:
        return None
    told = told_of(history, ColourSeen, Recharged)
    return told[-1] if told and isinstance(told[-1].what, ColourSeen) else None


def _colour_words(history: BoxHistory | None, is_spent: bool, at_ms: int) -> str | None:
    event = _last_colour(history)
    if event is None or not isinstance(event.what, ColourSeen) or event.at_s * 1000 > at_ms:
        return None
    looks = f"The beads looked {_COLOUR_WORDS[event.what.colour]}"
    if is_spent and event.what.colour == "dry":
        return f"{looks}, and the air says spent: the dye turns in a band above what filament asks for."
    return f"{looks}: weak evidence, since the dye turns gradually and above what filament asks for."


def _is_regenerated(history: BoxHistory | None, charge: Charge) -> bool:
    told = [] if history is None else told_of(history, Recharged)
    last = told[-1].what if told else None
    return isinstance(last, Recharged) and last.is_regenerated and last.desiccant == charge.kind


def _days(days: Quantiles | None, why: str | None) -> Spread:
    """Days, of which the longest means "or more": that is said instead of a figure."""
    if days is None:
        return unknown(why or WORKED_OUT)
    if days.p50 >= LONGEST_DAYS:
        return unknown("it is in no sight of being spent: two years or more")
    return _spread(days, None)


def _spread(quantiles: Quantiles | None, why: str | None, times: float = 1.0) -> Spread:
    if quantiles is None:
        return unknown(why or WORKED_OUT)
    return Spread(
        p10=three_digits(times * quantiles.p10),
        p50=three_digits(times * quantiles.p50),
        p90=three_digits(times * quantiles.p90),
    )
