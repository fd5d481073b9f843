"""A box's desiccant in the past and in the time ahead, with what happened on the way."""

from monitor.errors import BadInputError
from monitor.estimate.box_forecast import Quantiles
from monitor.estimate.box_lid import EventKind
from monitor.estimate.ensemble import three_digits
from monitor.model.answers import BoxCourse, BoxMark, BoxPoint, Spread
from monitor.model.box_event import BoxHistory, ChargeWeighed, ColourSeen, Noticed, Recharged
from monitor.model.records import effective
from monitor.ports import ReadStore
from monitor.service.box_insight import Insight
from monitor.service.followers import Followers

_DAY_S = 86_400.0
_NOTICED_WORDS = {
    EventKind.LID_OPENED: "The lid was opened.",
    EventKind.LID_LEFT_OPEN: "The lid was left open.",
    EventKind.SENSOR_STEPPED: "The sensor's reading stepped.",
    EventKind.DESICCANT_CHANGED: "The readings say that the desiccant was changed, or a spool taken out.",
    EventKind.CONTENTS_CHANGED: "The readings say that a spool was put in, or desiccant taken out.",
}


def box_course(
    store: ReadStore, followers: Followers, insight: Insight | None, key: str, window: tuple[int, int]
) -> BoxCourse:
    """Over a window [ms]; BadInputError where there is no such box."""
    from_ms, to_ms = window
    history = store.box_histories().get(key)
    if history is None or history.present() is None:
        raise BadInputError(f"box {key!r} is not in the inventory")
    past = tuple(
        BoxPoint(at_s=row.at_ms / 1000.0, loading_pct=_spread(*row.loading_pct))
        for row in store.box_course(key, from_ms, to_ms)
    )
    noticed = [n for n in followers.boxes.noticed(from_ms) if n.box == key and n.at_ms <= to_ms]
    limit = None if insight is None else insight.track.model.tables.limit_loading
    return BoxCourse(
        past=past,
        ahead=() if insight is None else tuple(_ahead(insight)),
        marks=tuple(sorted([*_seen(noticed), *_told(history, from_ms, to_ms)], key=lambda m: m.at_s)),
        limit_loading_pct=None if limit is None else three_digits(100.0 * limit),
    )


def _ahead(insight: Insight) -> list[BoxPoint]:
    return [
        BoxPoint(
            at_s=insight.track.at_s + _DAY_S * point.days,
            loading_pct=_percent(point.loading),
            humidity_pct=_percent(point.relative_humidity),
        )
        for point in insight.forecast.course
    ]


def _seen(noticed: list[Noticed]) -> list[BoxMark]:
    """An opening with the water it let in, once it is shut."""
    shut = {n.at_ms: n.water_g for n in noticed if n.kind == EventKind.LID_SHUT}
    found = []
    for item in noticed:
        words = _NOTICED_WORDS.get(EventKind(item.kind))
        if words is None:
            continue
        water_g = next((grams for at_ms, grams in sorted(shut.items()) if at_ms >= item.at_ms), 0.0)
        if item.kind == EventKind.LID_OPENED and water_g > 0.0:
            words = f"The lid was opened: about {water_g:.1g} g of water came in."
        found.append(BoxMark(at_s=item.at_ms / 1000.0, kind=item.kind, words=words, is_told=False))
    return found


def _told(history: BoxHistory, from_ms: int, to_ms: int) -> list[BoxMark]:
    found = []
    for event in effective(history.events):
        what = event.what
        if not from_ms <= event.at_s * 1000 <= to_ms:
            continue
        if isinstance(what, Recharged):
            words = f"{what.dry_g:.0f} g of fresh desiccant."
        elif isinstance(what, ChargeWeighed):
            words = f"The charge weighed {what.mass_g:g} g."
        elif isinstance(what, ColourSeen):
            words = f"The beads were seen: {what.colour}."
        else:
            continue
        found.append(
            BoxMark(at_s=event.at_s, kind=what.kind, words=words, is_told=True, event_id=event.event_id)
        )
    return found


def _percent(band: Quantiles) -> Spread:
    return _spread(100.0 * band.p10, 100.0 * band.p50, 100.0 * band.p90)


def _spread(low: float, middle: float, high: float) -> Spread:
    return Spread(p10=three_digits(low), p50=three_digits(middle), p90=three_digits(high))
