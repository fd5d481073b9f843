"""A site whose sensors have errors of their own, with jars to check them in."""

import math
from contextlib import closing, contextmanager

from support.spool_site import DAY_S, HOUR_S, ROOM, SpoolSite, spool

from monitor.library.salts import load_salts
from monitor.model.sensor_check import Back, CheckNow, CorrectBy, InJar, SensorTold
from monitor.physics.salt import salt_humidity_pct

CRATE = "n1/crate"
LOFT = "n1/air"


class SensorSite(SpoolSite):
    """What a sensor reads is `offset + gain x` the truth, by place."""

    def __init__(self, path, *spools, charge=None):
        self.errors = {}
        super().__init__(path, *spools, charge=charge)

    def read_as(self, place, true_pct):
        offset_pct, gain = self.errors.get(place, (0.0, 1.0))
        return min(max(offset_pct + gain * true_pct, 0.0), 100.0)

    def days(self, days, temperature_c=23.0, **true_pct):
        """So many days of this true humidity at each place."""
        self.now += days * DAY_S
        for place, value in true_pct.items():
            self.air(place, 24.0 * days, temperature_c, self.read_as(place, value))

    def sense(self, wish, *, channel=CRATE, at_s=None, replaces=None, who="mara"):
        told = SensorTold(
            channel=channel, at_s=self.now if at_s is None else at_s, who=who, wish=wish, replaces=replaces
        )
        return self.changes.add_sensor_event(told)

    def in_jar(self, salt, hours, *, place="crate", temperature_c=23.0, start_pct=40.0, tau_h=0.5, leak=0.0):
        """Put it over a salt, let it lie; the truth goes over to the salt's humidity, or leaks back to 55 %."""
        channel = LOFT if place == ROOM else f"n1/{place}"
        self.sense(InJar(salt=salt), channel=channel)
        true_pct = salt_humidity_pct(load_salts()[salt], temperature_c)
        rows, begin_s = [], self.now
        for number in range(round(hours * 12)):
            gone_h = (number + 1) / 12.0
            value = true_pct + (start_pct - true_pct) * math.exp(-gone_h / tau_h)
            value += (55.0 - value) * (1.0 - math.exp(-leak * max(gone_h - 3.0, 0.0)))
            at_s = begin_s + gone_h * HOUR_S
            rows.append((at_s, temperature_c, self.read_as(place, value) / 100.0))
        self.now = begin_s + hours * HOUR_S + 60.0
        self.hear(place, rows)

    def check(self, *salts, place="crate", **more):
        """A whole check, one point after the other, and back; returns the numbers of the points."""
        channel = LOFT if place == ROOM else f"n1/{place}"
        numbers = []
        for salt in salts:
            self.in_jar(salt, 5.0, place=place, **more)
            numbers.append(self.sense(CheckNow(), channel=channel))
        self.sense(Back(), channel=channel)
        return numbers

    def correct(self, *salts, place="crate"):
        """A whole check, and the correction that it asks for."""
        numbers = self.check(*salts, place=place)
        self.sense(CorrectBy(checks=tuple(numbers)), channel=f"n1/{place}")
        return numbers


@contextmanager
def sensor_site(tmp_path, *spools, charge=None):
    made = SensorSite(tmp_path / "site.db", *(spools or (spool(start_pct=0.02),)), charge=charge)
    with closing(made) as site:
        yield site
