"""The decision about a planned start, case by case: what is not surely as seen is asked, never begun (B-13, B-25)."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.model.cycle import LatchedTrip, LoadItem
from monitor.model.inventory import Oven
from monitor.model.oven import OvenPhase, OvenState
from monitor.model.planned_start import PlannedStart, PlannedState, SeenSpool
from monitor.oven.parameters import parameters_of
from monitor.oven.planned import LATE_S, ClockStep, Needs, Seen, Then, decide
from monitor.oven.site import Site
from monitor.oven.state import begin
from monitor.oven.window import Sample, Window

START_S, MONO_S = 1_790_000_000.0, 50_000.0
GREY = LoadItem(key="grey", name="grey", material_limit_c=65.0, body_limit_c=110.0)
LIES = SeenSpool(key="grey", place="kiln", left_g=800.0)
START = PlannedStart(
    number=1, oven="kiln", load=("grey",), is_tray=False, setpoint_c=55.0, duration_s=7200.0, needed_s=7200.0,
    limited_by="grey", unattended=True, start_s=START_S, due_s=None, who="mara", planned_s=START_S - 9000.0,
    spools=(LIES,),
)  # fmt: skip


def oven(armed_s=900.0, load=(GREY,), **members):
    state = OvenState(
        boot="a", uptime_s=100.0, seq=5, state=OvenPhase.ARMED, chamber_c=(22.0,), sample_seq=(5,), humidity_pct=None,
        heater=0.0, power_w=0.0, fan=False, door_open=False, cutout_ok=True, armed_s=armed_s, permit=None,
        refused=None, trip=None,
    )  # fmt: skip
    site = Site(
        load=load, is_storage_writable=True, is_self_tested=True, is_sole_owner=True, room_c=22.0,
        room_dew_point_c=8.0, detector=None, checklist=None, is_cutout_confirmed=True, proof_tested_wall_s=START_S,
    )  # fmt: skip
    sample = Sample(at_s=100.0, heard_mono_s=MONO_S, state=state)
    known = begin("kiln", parameters_of(Oven(key="kiln", name="Kiln", room="loft", max_c=80.0)))
    return replace(known, window=Window(samples=(sample,)), site=site, **members)


def seen(late_s=1.0, **members):
    usual = {
        "wall_s": START_S + late_s, "mono_s": MONO_S, "watching_since_mono_s": MONO_S - 40_000.0,
        "is_clock_known": True, "oven": oven(), "spools": {"grey": LIES},
        "needs": Needs(run_s=7200.0, most_c=58.0),
    }  # fmt: skip
    return Seen(**(usual | members))


TRIP = LatchedTrip(
    id="t", rule="R6", what="It stays hot.", is_safety=True, at_wall_s=START_S, at_mono_s=1.0, fired=()
)


def test_armed_and_as_seen_it_begins_only_within_its_two_minutes():
    """B-13: not a moment before, not two minutes after."""
    assert decide(START, seen(-0.1)).then is Then.WAIT
    assert decide(START, seen(0.0)).then is Then.BEGIN
    assert decide(START, seen(LATE_S)).then is Then.BEGIN
    assert decide(START, seen(LATE_S + 0.1)).then is Then.MISSED


@pytest.mark.parametrize(
    ("members", "why"),
    [
        ({"oven": oven(armed_s=0.0)}, "not armed"),
        ({"oven": oven(armed_s=None)}, "no button"),
        ({"oven": oven(is_arming_void=True)}, "not armed"),
        ({"oven": oven(trip=TRIP)}, "locked after a fault: It stays hot."),
        ({"oven": oven(is_out_of_service=True)}, "out of service"),
        ({"oven": None}, "not in the inventory"),
        ({"oven": oven(load=())}, "Not in the oven: grey."),
        ({"oven": oven(load=(GREY, replace(GREY, key="b", name="blue")))}, "Inside, too: blue."),
        ({"spools": {}}, "Spool grey is not in the inventory"),
        ({"spools": {"grey": replace(LIES, place="attic")}}, "moved to attic"),
        ({"spools": {"grey": replace(LIES, place=None)}}, "not known"),
        ({"spools": {"grey": replace(LIES, left_g=700.0)}}, "has 700 g"),
        ({"needs": None}, "cannot be worked out"),
        ({"needs": Needs(run_s=None, most_c=None, why="No air.")}, "No air."),
        ({"needs": Needs(run_s=7900.0, most_c=58.0)}, "It takes 2.2 h now"),
        ({"needs": Needs(run_s=7200.0, most_c=54.0)}, "54 °C is the most now"),
        ({"steps": (ClockStep(at_mono_s=MONO_S - 500.0, before_s=1.0, after_s=9.0),)}, "clock was set"),
    ],
)
def test_whatever_is_not_as_seen_or_not_sure_is_asked(members, why):
    """Each alone keeps it from beginning, and is the sentence that the person reads."""
    found = decide(START, seen(**members))
    assert found.then is Then.ASK
    assert any(why in line for line in found.why), found.why


def test_a_tray_and_an_attended_start_are_always_asked():
    """Nobody here can see a tray, or whether somebody stays."""
    assert decide(replace(START, is_tray=True, spools=()), seen()).then is Then.ASK
    assert decide(replace(START, unattended=False), seen()).then is Then.ASK


def test_due_by_a_jump_or_while_away_is_missed():
    """B-25; and a time that went by before this run of the program looked is not made up for."""
    jump = ClockStep(at_mono_s=MONO_S - 5.0, before_s=START_S - 3600.0, after_s=START_S + 0.5)
    assert decide(START, seen(1.0, steps=(jump,))).then is Then.MISSED
    assert decide(START, seen(20.0, watching_since_mono_s=MONO_S - 10.0)).then is Then.MISSED
    assert decide(START, seen(20.0, watching_since_mono_s=MONO_S - 30.0)).then is Then.BEGIN


def test_an_unknown_clock_decides_nothing_and_a_day_without_answer_is_missed():
    """Without the time there is no due; asked a day ago, nobody came."""
    assert decide(START, seen(90_000.0, is_clock_known=False)).then is Then.WAIT
    asked = replace(START, state=PlannedState.ASKED)
    assert decide(asked, seen(3600.0)).then is Then.WAIT
    assert decide(asked, seen(86_401.0)).then is Then.MISSED
    for state in PlannedState:
        if state is not PlannedState.PLANNED:
            assert decide(replace(START, state=state), seen()).then is Then.WAIT


@given(
    late_s=st.floats(-1e6, 1e6), armed_s=st.sampled_from([None, 0.0, 900.0]), unattended=st.booleans(),
    watched_s=st.floats(0.0, 1e5), stepped_s=st.none() | st.floats(0.0, 5000.0), run_s=st.floats(60.0, 2e5),
    place=st.sampled_from(["kiln", "crate", None]), state=st.sampled_from(list(PlannedState)),
    is_known=st.booleans(),
)  # fmt: skip
def test_nothing_begins_but_armed_in_time_unattended_and_undisturbed(
    late_s, armed_s, unattended, watched_s, stepped_s, run_s, place, state, is_known
):
    """B-13, B-25, B-40 over everything at once: BEGIN implies all of them."""
    steps = () if stepped_s is None else (ClockStep(at_mono_s=MONO_S - stepped_s, before_s=1.0, after_s=9.0),)
    now = seen(
        late_s, oven=oven(armed_s), watching_since_mono_s=MONO_S - watched_s, steps=steps, is_clock_known=is_known,
        needs=Needs(run_s=run_s, most_c=58.0), spools={"grey": replace(LIES, place=place)},
    )  # fmt: skip
    if decide(replace(START, unattended=unattended, state=state), now).then is Then.BEGIN:
        assert state is PlannedState.PLANNED
        # What is less than the sum with the time of day can hold is lost in it.
        assert 0.0 <= late_s <= min(LATE_S, watched_s) + 1e-6
        assert armed_s
        assert unattended
        assert is_known
        assert stepped_s is None or stepped_s > 600.0
        assert run_s <= 7800.0
        assert place == "kiln"
