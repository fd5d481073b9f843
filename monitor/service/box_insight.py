"""What follows from a box's state: forecast and causes, worked out once every half hour of the grid."""

import threading
from dataclasses import dataclass

from monitor.estimate.box_diagnosis import Finding, diagnose
from monitor.estimate.box_forecast import Forecast, Outlook, Quantiles, forecast, usual_outlook
from monitor.estimate.box_track import BoxTrack
from monitor.model.reading import Quantity
from monitor.physics.psychrometrics import saturated_vapour_kg_m3
from monitor.ports import ReadStore
from monitor.service.box_follower import BoxFollower
from monitor.service.corrections import Corrections

_DAY_MS = 86_400_000
_YEAR_MS = 365 * _DAY_MS
# Of the time ahead, a year ago: less than these days tell weather, less than this share of them nothing.
_LEAST_DAYS, _MOST_DAYS, _LEAST_SHARE = 14.0, 180.0, 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Insight:
    """A box as of one state."""

    track: BoxTrack
    forecast: Forecast
    findings: tuple[Finding, ...]
    season_days_left: Quantiles | None  # with the room's air as it was a year ago; None = no year is stored


class Insights:
    """The newest insight of every box; renewed one by one: each takes 40 ms. Safe from any thread."""

    def __init__(self, store: ReadStore, boxes: BoxFollower) -> None:
        self._store = store
        self._boxes = boxes
        self._lock = threading.Lock()
        self._found: dict[str, Insight] = {}

    def all(self) -> dict[str, Insight]:
        with self._lock:
            return dict(self._found)

    def renew_one(self, at_ms: int) -> bool:
        """Work out one that its box has left behind; whether there may be more of them."""
        tracks = self._boxes.settled()
        with self._lock:
            self._found = {key: insight for key, insight in self._found.items() if key in tracks}
            behind = [
                key
                for key, track in tracks.items()
                if track.belief.blocks > 0 and (key not in self._found or self._found[key].track != track)
            ]
        if not behind:
            return False
        # The longest neglected first.
        key = min(behind, key=lambda key: self._found[key].track.at_s if key in self._found else 0.0)
        insight = self.of(key, tracks[key], at_ms)
        with self._lock:
            self._found[key] = insight
        return len(behind) > 1

    def of(self, key: str, track: BoxTrack, at_ms: int) -> Insight:
        """What follows from one state; some 50 ms."""
        usual = forecast(track.model, track.belief)
        season = self._season(key, track, at_ms, usual.days_left.p50)
        days = None if season is None else forecast(track.model, track.belief, season).days_left
        return Insight(
            track=track,
            forecast=usual,
            findings=diagnose(track.model, track.belief, usual),
            season_days_left=days,
        )

    def _season(self, key: str, track: BoxTrack, at_ms: int, days: float) -> Outlook | None:
        """The room over the time ahead as it was a year ago, from its days; None where too little is kept."""
        way = self._boxes.way(key)
        horizon_ms = round(min(max(days, _LEAST_DAYS), _MOST_DAYS) * _DAY_MS)
        begin_ms = (at_ms - _YEAR_MS) // _DAY_MS * _DAY_MS
        oldest_ms = self._store.oldest_ms()
        if way is None or oldest_ms is None or oldest_ms > begin_ms:
            return None
        room = self._store.inventory().rooms.get(way.box.room)
        ids = {
            item.quantity: item.series_id
            for item in self._store.series()
            if room is not None and f"{item.node}/{item.channel}" == room.channel
        }
        channel = "" if room is None else room.channel or ""
        if Quantity.TEMPERATURE not in ids or Quantity.HUMIDITY not in ids:
            return None
        means = self._store.means(begin_ms, begin_ms + horizon_ms, _DAY_MS)
        warmth = {at: mean for (series, at), mean in means.items() if series == ids[Quantity.TEMPERATURE]}
        held = Corrections(self._store.sensor_events())
        vapour = [
            humidity / 100.0 * float(saturated_vapour_kg_m3(warmth[at]))
            for (series, at), mean in means.items()
            if series == ids[Quantity.HUMIDITY]
            and at in warmth
            and (humidity := held.mean(channel, Quantity.HUMIDITY, mean, at, at + _DAY_MS)) is not None
        ]
        if len(vapour) < _LEAST_SHARE * horizon_ms / _DAY_MS:
            return None
        usual = usual_outlook(track.belief)
        return Outlook(
            room_kg_m3=sum(vapour) / len(vapour),
            temperature_c=usual.temperature_c,
            openings_per_s=usual.openings_per_s,
        )
