"""An oven's site with starts planned for later, on a clock moved by hand."""

from contextlib import contextmanager

from support.oven_learning import prove
from support.oven_site import HOUR_S, OVEN, ROOM, oven_site

from monitor.model.planned_start import StartLater
from monitor.oven.site import TICK_WORDS
from monitor.service.planned_starts import PlannedStarts


class Planned:
    """The oven's site, what was planned in it, and what was told of that."""

    def __init__(self, site):
        self.site = site
        self.told = []
        self.is_clock_known = True
        self.start_program()

    def start_program(self, *, is_new=False):
        """As at a start: nothing is known but what is stored."""
        if is_new:
            self.site.start_monitor()
        site = self.site
        self.starts = PlannedStarts(
            site.reader,
            site.queries,
            site.desk,
            site.acts.begin_planned,
            site._ask,
            site.clock,
            is_clock_known=lambda: self.is_clock_known,
            tell=self.told.extend,
        )

    def allow_unattended(self):
        self.site.acts.tick_off(OVEN, tuple(str(tick) for tick in TICK_WORDS), "mara")
        prove(self.site, OVEN)
        self.site.acts.confirm_cutout(OVEN, "mara")
        self.site.run(20)

    def wish(self, hours=1.5, **members):
        usual = {
            "load": ("grey",),
            "setpoint_c": 55.0,
            "duration_s": 2.0 * HOUR_S,
            "limited_by": "grey",
            "unattended": True,
            "start_s": self.site.clock.wall + hours * HOUR_S,
        }
        return StartLater(**(usual | members))

    def plan(self, hours=1.5, **members):
        return self.starts.plan(OVEN, self.wish(hours, **members), "mara")

    def until(self, number, before_s=0.0):
        """Time passes, with the oven standing by, until so long before a start; the room is measured."""
        site, start_s = self.site, self.row(number).start_s
        self.skip(start_s - before_s - site.clock.wall - 40.0)
        site.run(40.0)

    def skip(self, seconds):
        """Time passes with nobody looking, the oven standing by."""
        site = self.site
        site.run(seconds, monitor=False)
        site.now = site.clock.wall
        site.air(ROOM, 0.5, 22.0, 45.0)
        site.run(20.0)

    def set_clock(self, by_s):
        """The wall clock is set."""
        self.site.clock.wall += by_s
        self.site.now = self.site.clock.wall
        self.site.air(ROOM, 0.5, 22.0, 45.0)

    def row(self, number):
        return self.site.reader.planned_start(number)

    def state(self, number):
        return str(self.row(number).state)

    def kinds(self):
        return [message.type for message in self.told]


@contextmanager
def planned_site(tmp_path, *spools):
    with oven_site(tmp_path, *spools) as site:
        made = Planned(site)
        made.allow_unattended()
        yield made
