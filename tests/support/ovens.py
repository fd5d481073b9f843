"""Ovens of a small real site, with a desk that a test moves by hand."""

from contextlib import contextmanager
from dataclasses import replace

from support.spool_site import HOUR_S, OVEN, START_S, spool, spool_site

from monitor.errors import BadInputError
from monitor.model.cycle import (
    Cycle,
    EndedCycle,
    Ending,
    Fired,
    LatchedTrip,
    LoadItem,
    OvenRecord,
    Problem,
    RecordKind,
)
from monitor.model.oven_look import CheckItem, OvenLook
from monitor.oven.proof import STEPS, Bounds, Seen
from monitor.oven.site import TICK_WORDS
from monitor.service.oven_proof import ProofLook, StepLook
from web import create_app

HERE = {"Origin": "http://localhost"}
ABS = LoadItem(key="black", name="black", material_limit_c=85.0, body_limit_c=110.0)
GREY = LoadItem(key="grey", name="grey", material_limit_c=65.0, body_limit_c=110.0)
ALL_TICKED = tuple(CheckItem(key=str(key), words=words, is_ticked=True) for key, words in TICK_WORDS.items())
NOT_ARMED = Problem(rule="B-10", title="The oven is not armed", detail="Go to the oven and press its button.")


def idle(**members):
    """An oven that waits, armed, and may be left alone."""
    usual = {
        "key": OVEN, "name": "Kiln", "room": "loft", "phase": "armed", "version": 7, "age_s": 1.5, "is_fresh": True,
        "chamber_c": (23.1, 22.9), "hottest_c": 23.1, "is_hot": False, "heater": 0.0, "power_w": 0.0, "fan": False,
        "door_open": False, "armed_s": 1200.0, "permit_left_s": None, "refused": None, "cycle": None, "left_s": None,
        "ends_at_s": None, "ended": None, "trip": None, "is_out_of_service": False, "stop_asked_s": None, "load": (),
        "checklist": ALL_TICKED, "checklist_at_s": START_S, "checklist_who": "Mara", "proof_tested_s": START_S,
        "is_cutout_confirmed": True, "records": (),
    }  # fmt: skip
    return OvenLook(**(usual | members))


def cycle(**members):
    usual = {
        "id": "c1", "order": "o1", "who": "Mara", "is_unattended": True, "is_armed_locally": True, "load": (GREY,),
        "setpoint_c": 58.0, "asked_setpoint_c": 58.0, "ceiling_c": 63.0, "limit_c": 65.0, "limited_by": "grey",
        "boot": "a91c", "started_mono_s": 0.0, "started_wall_s": START_S, "duration_s": 6 * HOUR_S,
        "phase_since_mono_s": 0.0, "warm_from_c": 23.0, "warm_from_mono_s": 0.0,
    }  # fmt: skip
    return Cycle(**(usual | members))


def heating(now_s=START_S, **members):
    """An oven two hours into its six."""
    usual = {
        "phase": "drying", "version": 12, "cycle": cycle(), "left_s": 4 * HOUR_S, "ends_at_s": now_s + 4 * HOUR_S,
        "chamber_c": (58.2, 57.6), "hottest_c": 58.2, "is_hot": True, "heater": 0.35, "power_w": 52.0, "fan": True,
        "permit_left_s": 22.0, "armed_s": 0.0, "load": (GREY,),
    }  # fmt: skip
    return idle(**(usual | members))


def interrupted(now_s, ending=Ending.RESTARTED, **members):
    """B-21: it got to 2 h 10 of 6 h."""
    ended = EndedCycle(
        cycle="c1", ending=ending, why="The power was away.", ran_s=2 * HOUR_S + 600.0, duration_s=6 * HOUR_S,
        setpoint_c=58.0, load=("grey",), ended_wall_s=now_s - 100.0, ended_mono_s=1.0,
    )  # fmt: skip
    return idle(phase="idle", ended=ended, load=(GREY,), armed_s=0.0, **members)


def tripped(*, is_safety=True, **members):
    trip = LatchedTrip(
        id="t1", rule="R6", what="The heater stays on although it is off.", is_safety=is_safety, at_wall_s=START_S,
        at_mono_s=1.0, fired=(Fired(rule="R6", what="Rise with heat off", after_ms=0),
                              Fired(rule="R8", what="Over the limit", after_ms=4200)),
    )  # fmt: skip
    return idle(**({"phase": "tripped", "trip": trip, "armed_s": 0.0, "version": 20} | members))


class FakeProof:
    """Nothing of the test was done yet."""

    def look(self, oven):  # noqa: ARG002 - as the real one is called
        steps = tuple(StepLook(step=step, result=None, at_s=None, who="") for step in STEPS)
        bounds = Bounds(rating_c=95.0, hottest_c=73.0, lease_s=30.0)
        return ProofLook(
            steps=steps, bounds=bounds, seen=Seen(), is_complete=False, is_out_of_service=False, passed_s=None,
            due_s=None, history=(),
        )  # fmt: skip


class FakeDesk:
    """Minds one oven: what was asked stands in `asked`; what it grants is set by hand."""

    def __init__(self, look):
        self.now = look
        self.problems = ()
        self.problem = None
        self.asked = []
        self.is_broken = False
        self.proof = FakeProof()
        self.kept = {}  # trip -> what was recorded round it

    def look(self, oven):
        if oven != self.now.key:
            raise BadInputError(f"there is no oven {oven!r}")
        return self.now

    def trips(self, oven):
        return tuple(self.kept) if oven == self.now.key else ()

    def trip(self, oven, trip):
        return self.kept.get(trip) if oven == self.now.key else None

    def start(self, oven, wish, who):
        if any(each[0] == "start" and each[2].order == wish.order for each in self.asked):
            return ()  # the same id again gets the same answer and does nothing
        self.asked.append(("start", oven, wish, who))
        if not self.problems:
            run = cycle(
                who=who, setpoint_c=wish.setpoint_c, duration_s=wish.duration_s, started_wall_s=wish.shown_s
            )
            ends_s = wish.shown_s + wish.duration_s
            self.now = heating(cycle=run, left_s=wish.duration_s, ends_at_s=ends_s, load=self.now.load)
        return self.problems

    def stop(self, oven, who, why):
        self.asked.append(("stop", oven, who, why))
        if self.is_broken or oven != self.now.key:
            raise BadInputError("no way to the oven")
        record = OvenRecord(kind=RecordKind.STOP_ASKED, oven=oven, at_wall_s=START_S, what=why, who=who)
        self.now = replace(self.now, stop_asked_s=0.5, records=(record, *self.now.records))

    def stopped(self, **members):
        """Its effect is seen: it cools."""
        calm = {
            "phase": "cooling",
            "heater": 0.0,
            "power_w": 0.0,
            "stop_asked_s": None,
            "permit_left_s": None,
        }
        self.now = replace(self.now, **(calm | members))

    def extend(self, oven, order, version, cycle, extra_s, who):
        self.asked.append(("extend", oven, order, version, cycle, extra_s, who))
        return self.problem

    def reset(self, oven, order, version, trip, checked, text, who):
        self.asked.append(("reset", oven, order, version, trip, checked, text, who))
        return self.problem

    def tick_off(self, oven, ticked, who):
        self.asked.append(("tick_off", oven, ticked, who))

    def confirm_cutout(self, oven, who):
        self.asked.append(("confirm_cutout", oven, who))

    def proof_tested(self, oven, who):
        self.asked.append(("proof_tested", oven, who))


class OvenSite:
    """The site, its desk and a browser."""

    def __init__(self, site, look):
        self.site = site
        self.desk = FakeDesk(look)
        self.app = self.made()
        self.client = self.app.test_client()

    def made(self, **more):
        options = {"look_only": False, "hosts": frozenset(), "zone": "UTC", "desk": self.desk} | more
        return create_app(self.site.queries, self.site.changes, **options)

    def page(self, path, status=200):
        response = self.client.get(path)
        assert response.status_code == status, (path, response.status_code)
        return response.get_data(as_text=True)

    def send(self, path, fields=None, **more):
        return self.client.post(path, data=fields or {}, headers=HERE, **more)


@contextmanager
def oven_site(tmp_path, look=None, *, place=OVEN):
    """A grey PETG spool in the kiln, a black ABS one in the crate, six damp hours behind them."""
    spools = (spool(place=place, reel="pc"), spool("black", "abs", reel="pc"))
    with spool_site(tmp_path, *spools) as site:
        site.pass_time(6.0, loft=45.0, crate=30.0, chest=10.0)
        yield OvenSite(site, look or idle(load=(GREY,)))
