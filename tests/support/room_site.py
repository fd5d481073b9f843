"""The usual site whose rooms have a past of any course: temperature and vapour as functions of time."""

from dataclasses import replace

from support.pages import FakeQueries

from monitor.errors import BadInputError
from monitor.library import load_library
from monitor.model.answers import Freshness, SeriesAnswer, SeriesPoint
from monitor.physics.psychrometrics import vapour_kg_m3

DAY_S = 86_400.0


class RoomSite(FakeQueries):
    """`course(place, time_s)` gives (temperature [degC], vapour [g/m3]) of a span, or None where none was measured."""

    def __init__(self, course=None, zone="Europe/Berlin"):
        super().__init__(zone)
        self.course = course or (lambda _place, _time_s: (21.0, 9.0))
        self.without = set()  # places that never had a channel

    def library(self):
        return load_library()

    def series(self, place, quantity, from_s, to_s, span_s):
        if place in self.without:
            raise BadInputError(f"place {place!r} has no channel in the inventory")
        points = []
        start_s = from_s // span_s * span_s
        while start_s < to_s:
            here = self.course(place, start_s)
            mean = None if here is None else _value(quantity, *here)
            points.append(
                SeriesPoint(
                    start_s=start_s,
                    lowest=mean,
                    mean=mean,
                    highest=mean,
                    covered=0.0 if mean is None else 1.0,
                )
            )
            start_s += span_s
        return SeriesAnswer(place=place, quantity=quantity, unit="", span_s=span_s, points=tuple(points))

    def make_stale(self, room):
        """Its readings have stopped."""
        self._air(room, stale=True, freshness=Freshness.LOST)

    def unplace(self, room):
        """It never had a sensor."""
        self.without.add(room)
        self._air(
            room,
            stale=True,
            freshness=Freshness.NEVER,
            temperature_c=None,
            humidity_pct=None,
            dew_point_c=None,
            vapour_g_m3=None,
            at=None,
            age_s=None,
            why="no channel is placed here in the inventory",
        )

    def changes(self, room, humidity_pct, dew_point_c):
        """What it did in the last three hours."""
        self._air(room, humidity_change_pct=humidity_pct, dew_point_change_c=dew_point_c)

    def _air(self, room, **members):
        status = self.status

        def changed(at_s=None):
            found = status(at_s)
            rooms = tuple(
                replace(each, air=replace(each.air, **members)) if each.key == room else each
                for each in found.rooms
            )
            return replace(found, rooms=rooms)

        self.status = changed


def _value(quantity, temperature_c, vapour_g_m3):
    if quantity == "temperature":
        return temperature_c
    if quantity == "dew_point":
        return 5.0
    return 100.0 * vapour_g_m3 / 1000.0 / vapour_kg_m3(temperature_c, 1.0)
