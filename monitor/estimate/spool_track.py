"""One spool on its way: belief and account carried together through steps and events."""

from dataclasses import dataclass, replace

from monitor.estimate import spool_diary
from monitor.estimate.ensemble import percentiles
from monitor.estimate.spool_belief import Belief, Body, first_belief, print_off, stack_states, stacked
from monitor.estimate.spool_course import Around, follow
from monitor.estimate.spool_diary import Diary, note_step
from monitor.estimate.spool_signs import says_nothing_of_water, take_signs
from monitor.estimate.spool_weighing import weigh
from monitor.model.spool_event import Signs, Spoiled, SpoolEvent, Used, Weighed
from monitor.physics.spool_reading import mean_water_content, outer_water_content


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Where a spool stands at a time."""

    body: Body
    at_s: float
    belief: Belief
    diary: Diary
    stay_start: Belief | None = None  # the belief as the present stay began


def begin(body: Body, at_s: float) -> Track:
    """At the moment that the inventory's `start` speaks of, with what was used by then off it."""
    belief = first_belief(body)
    if body.spool.used_g > 0.0:
        belief = print_off(body, belief, body.spool.used_g)
    return Track(body=body, at_s=at_s, belief=belief, diary=Diary())


def step(tracks: list[Track], around: list[Around], dt_s: float) -> list[Track]:
    """All of them after a time in their own air; they stand at the same moment."""
    ready = [_entered(track, air) for track, air in zip(tracks, around, strict=True)]
    beliefs, passages = follow([t.body for t in ready], [t.belief for t in ready], around, dt_s)
    return [
        replace(
            track,
            at_s=track.at_s + dt_s,
            belief=belief,
            diary=note_step(track.body, track.diary, air, passage, track.at_s, dt_s),
        )
        for track, belief, air, passage in zip(ready, beliefs, around, passages, strict=True)
    ]


def take(track: Track, event: SpoolEvent) -> Track:
    """The spool after an event that is not about its place."""
    what, body = event.what, track.body
    if isinstance(what, Used):
        return replace(track, belief=print_off(body, track.belief, what.grams))
    if isinstance(what, Weighed):
        belief, verdict = weigh(body, track.belief, what)
        diary = replace(track.diary, last_weighing=verdict.words)
        if verdict.can_tell and means(body, belief)[2] <= body.material.limit_content:
            diary = spool_diary.proven_dry(diary, event.at_s)
        return replace(track, belief=belief, diary=diary)
    if isinstance(what, Signs):
        over = outers(body, track.belief)[2] / body.material.limit_content
        diary = replace(track.diary, last_signs=says_nothing_of_water(what.seen, over))
        return replace(track, belief=take_signs(body, track.belief, what.seen), diary=diary)
    if isinstance(what, Spoiled):
        return replace(track, diary=replace(track.diary, spoiled=what.why))
    return track


def means(body: Body, belief: Belief) -> tuple[float, float, float]:
    """Mean water content [kg/kg]: 10th, 50th and 90th percentile."""
    return percentiles(mean_water_content(stacked([body], [belief]), stack_states([belief]))[0])


def outers(body: Body, belief: Belief) -> tuple[float, float, float]:
    """Of the outermost millimetre [kg/kg]."""
    return percentiles(outer_water_content(stacked([body], [belief]), stack_states([belief]))[0])


def dump(track: Track) -> bytes:
    """As stored in a checkpoint."""
    return spool_diary.dump(track.diary, track.belief, track.stay_start)


def load(body: Body, at_s: float, content: bytes) -> Track:
    """What was dumped, of the same body."""
    diary, belief, start = spool_diary.load(content)
    return Track(body=body, at_s=at_s, belief=belief, diary=diary, stay_start=start)


def _entered(track: Track, around: Around) -> Track:
    if spool_diary.is_same_stay(track.diary.present, around):
        return track
    diary = spool_diary.turned_over(
        track.body, track.diary, track.stay_start, track.belief, around, track.at_s, means
    )
    return replace(track, diary=diary, stay_start=track.belief)
