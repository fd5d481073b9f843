"""The desk of alarms on a real database: written, published and told, through kills and outages."""

import json

import cbor2
import pytest
from support.alarm_site import BOX, ROOM, alarm_site
from support.alarms import row
from support.spool_site import OTHER_BOX, OVEN

from monitor.alarms.storms import Gathered, Raised, Storm
from monitor.errors import BadInputError, RefusedError
from monitor.model.alarm_change import AlarmChanges, KeptAlarm
from monitor.model.arrival import Arrival
from monitor.model.batch import Batch
from monitor.model.message import Priority
from monitor.service import alarm_desk
from monitor.service.alarm_notes import desk_text
from monitor.service.alarm_world import AlarmSources

KEY = f"humidity_high-{BOX}"


@pytest.fixture
def site(tmp_path):
    with alarm_site(tmp_path / "alarms.db") as made:
        yield made


@pytest.fixture
def calm(site):
    """Settled, and nothing holds."""
    site.set("humidity_high", False)
    site.settle()
    return site


def _activation(site, key=KEY):
    return site.desk.look(key).alarm.activation


def test_an_alarm_is_written_published_and_told_in_this_order(calm):
    """Contract 1 and 5: the retained object, until the alarm is normal; then the empty payload."""
    calm.set("humidity_high", True, value=31.0, limit=20.0)
    calm.look()
    assert calm.shown() == {KEY: "unack"}
    said = json.loads(calm.published[KEY])
    assert said["class"] == "process"
    assert (said["state"], said["condition"], said["place"]) == ("unack", True, BOX)
    assert said["activation"] == _activation(calm)
    assert set(said) == {
        *("key", "type", "place", "class", "state", "condition", "priority"),
        *("since", "deadline", "what", "why", "act", "activation"),
    }
    assert calm.kinds() == [("active", KEY)]
    calm.set("humidity_high", False, value=10.0, limit=20.0)
    calm.look()
    calm.acts.acknowledge(KEY, _activation(calm), "Kim")
    assert calm.published == {}
    assert calm.shown() == {}
    assert calm.kinds() == [("active", KEY), ("clears", KEY), ("seen", KEY)]


def test_each_transition_is_a_line_of_the_log(calm):
    """A-13: from, to, cause, who, number."""
    calm.set("humidity_high", True, value=31.0, limit=20.0)
    calm.look()
    calm.acts.acknowledge(KEY, _activation(calm), "Kim")
    rows = calm.acts.transitions()
    assert [(r.number, r.what, r.was, r.now, r.who) for r in rows] == [
        (1, "activated", "norm", "unack", "monitor"),
        (2, "acknowledged", "unack", "acked", "Kim"),
    ]
    assert [(entry.what, entry.who, entry.about) for entry in calm.audited] == [
        ("activated", "monitor", KEY),
        ("acknowledged", "Kim", KEY),
    ]
    assert calm.audited[0].detail["value"] == 31.0


STEPS = {
    "raised": lambda s: (s.set("humidity_high", True), s.look()),
    "acknowledged": lambda s: s.acts.acknowledge(KEY, _activation(s), "Kim"),
    "shelved": lambda s: s.acts.shelve(KEY, "Kim", "known", until_s=s.clock.wall + 600.0),
    "unshelved": lambda s: s.acts.unshelve(KEY, "Kim"),
    "out": lambda s: s.acts.out_of_service(KEY, "Kim", "apart"),
    "returned": lambda s: s.acts.return_to_service(KEY, "Kim"),
    "cleared": lambda s: (s.set("humidity_high", False), s.look()),
    "raised again": lambda s: (s.set("humidity_high", True), s.look()),
    "unknown": lambda s: (s.set("humidity_high", None), s.look()),
}


@pytest.mark.parametrize("number", range(len(STEPS)))
def test_a_kill_after_each_transition_loses_nothing(calm, number):
    """A-12: same state, same activation, same time; nothing is told again."""
    for step in list(STEPS.values())[: number + 1]:
        step(calm)
    before, told, published = calm.desk.looks(), list(calm.told), dict(calm.published)
    calm.kill()
    assert calm.desk.looks() == before
    calm.look(4)
    assert calm.told == told
    assert calm.published.keys() == published.keys()
    assert _activation(calm) == calm.desk.look(KEY).alarm.activation


@pytest.mark.parametrize("number", range(len(STEPS)))
def test_a_kill_before_the_write_is_as_if_it_had_not_happened(calm, number):
    """A-12: nothing of it was published or told, and all comes once it is done again."""
    names = list(STEPS.values())
    for step in names[:number]:
        step(calm)
    before, told = calm.desk.looks(), list(calm.told)
    calm.is_committing = False
    names[number](calm)
    calm.kill()
    assert calm.desk.looks() == before
    assert calm.told == told
    calm.look(4)  # what holds by itself comes; what a person did they do again
    pairs = [(message.kind, message.subject, message.occurrence) for message in calm.told]
    assert len(pairs) == len(set(pairs))
    if number in (0, 7):
        assert calm.kinds()[-1] == ("active", KEY)


def test_only_safety_is_told_while_it_settles(site):
    """A-23: the others are held back, counted, and told afterwards if they still hold."""
    site.set("humidity_high", True)
    site.set("oven_trip", True, OVEN)
    site.look()
    assert site.kinds() == [("active", f"oven_trip-{OVEN}")]
    assert site.desk.held_back() == 1
    site.look(3)
    assert site.kinds()[1:] == [("active", KEY)]
    assert site.desk.held_back() == 0


def test_a_broker_that_is_back_is_given_all_anew(calm):
    calm.set("humidity_high", True)
    calm.look()
    calm.is_connected = False
    calm.look()
    calm.published = {"gone-box": b"{}"}
    calm.is_connected = True
    calm.look()
    assert KEY in calm.published
    assert calm.desk.is_settling()


def test_what_was_over_while_the_broker_was_away_is_cleared_there(calm):
    calm.set("humidity_high", True)
    calm.look()
    kept = dict(calm.published)
    calm.set("humidity_high", False)
    calm.look()
    calm.acts.acknowledge(KEY, _activation(calm), "Kim")
    calm.published = kept  # the broker never heard of that
    calm.kill()
    calm.look()
    assert calm.published == {}


def test_an_open_lid_hides_the_humidity_of_its_box_alone(calm):
    """A-07, A-26: the rule's text is shown; the other box is not hidden."""
    calm.set("lid_open", True)
    calm.set("humidity_high", True)
    calm.set("humidity_high", True, OTHER_BOX)
    calm.look()
    assert calm.shown()[KEY] == "dsupr"
    assert calm.desk.look(KEY).hidden_text == "the lid is open"
    assert ("active", KEY) not in calm.kinds()
    assert ("active", f"humidity_high-{OTHER_BOX}") in calm.kinds()


def test_a_hidden_alarm_is_told_when_its_time_is_up(calm):
    """A-27: two hours here."""
    calm.set("lid_open", True)
    calm.set("humidity_high", True)
    calm.look(239)
    assert ("active", KEY) not in calm.kinds()
    calm.look(3)
    assert ("active", KEY) in calm.kinds()


def test_after_the_lid_is_shut_the_air_has_time_to_dry(calm):
    calm.set("lid_open", True)
    calm.set("humidity_high", True)
    calm.look()
    calm.set("lid_open", False)
    calm.look(10)
    assert calm.shown()[KEY] == "dsupr"
    calm.set("humidity_high", False, value=10.0, limit=20.0)
    calm.look(2)
    assert KEY not in calm.shown()
    assert ("active", KEY) not in calm.kinds()


def test_a_broker_that_is_away_hides_all_silence(calm):
    """A-26: one alarm for the cause."""
    calm.set("broker_away", True, "")
    for place in (BOX, OTHER_BOX, ROOM):
        calm.set("reading_stale", True, place)
    calm.look()
    assert calm.kinds() == [("active", "broker_away")]


def test_many_at_once_are_one_message(calm):
    """A-22, A-25: names the first and where to look; when all were seen the one is, too."""
    places = (BOX, OTHER_BOX, ROOM, OVEN)
    for place in places:
        calm.set("reading_stale", True, place)
    calm.look()
    (message,) = calm.told
    assert message.subject == "storm"
    assert len(message.covers) == 4
    assert "4 alarms at once" in message.what
    assert message.act
    assert len(calm.desk.looks()) == 4
    seen = [(look.alarm.key, look.alarm.activation) for look in calm.desk.looks()]
    assert calm.acts.acknowledge_visible(seen, "Kim") == ()
    assert ("seen", "storm") in calm.kinds()


def test_a_storm_told_twice_ends_as_often(calm):
    """Whoever was still to be called of its beginning is not called once all was seen."""
    for place in (BOX, OTHER_BOX, ROOM, OVEN):
        calm.set("reading_stale", True, place)
    calm.look()
    for place in (BOX, OTHER_BOX, ROOM, OVEN):
        calm.set("lid_open", True, place)
    calm.look(2)
    told = [message.occurrence for message in calm.told if message.subject == "storm"]
    assert len(set(told)) == 2
    seen = [(look.alarm.key, look.alarm.activation) for look in calm.desk.looks()]
    assert calm.acts.acknowledge_visible(seen, "Kim") == ()
    over = [
        message.occurrence for message in calm.told if (message.kind, message.subject) == ("seen", "storm")
    ]
    assert over == told


def test_a_storm_goes_on_through_a_restart(calm):
    for place in (BOX, OTHER_BOX, ROOM, OVEN):
        calm.set("reading_stale", True, place)
    calm.look()
    before = calm.desk.storm()
    calm.kill()
    assert calm.desk.storm() == before


def test_safety_is_told_for_itself_in_a_storm(calm):
    """A-21."""
    for place in (BOX, OTHER_BOX, ROOM, OVEN):
        calm.set("reading_stale", True, place)
    calm.set("oven_trip", True, OVEN)
    calm.look()
    assert sorted(subject for _, subject in calm.kinds()) == [f"oven_trip-{OVEN}", "storm"]


def test_that_nothing_can_be_written_is_told_for_itself_in_a_storm(calm):
    """A-12: only what is told under its own name leaves before it is written."""
    for place in (BOX, OTHER_BOX, ROOM, OVEN):
        calm.set("reading_stale", True, place)
    calm.set("database_trouble", True, "")
    calm.look()
    assert sorted(subject for _, subject in calm.kinds()) == ["database_trouble", "storm"]


def test_what_asks_for_no_act_today_is_no_alarm(calm):
    """A.0, A-31: a notice until its deadline is within a day."""
    calm.set("desiccant_soon", True, deadline_s=calm.clock.wall + 100_000.0)
    calm.look()
    assert calm.shown() == {}
    calm.set("desiccant_soon", True, deadline_s=calm.clock.wall + 80_000.0)
    calm.look()
    assert calm.desk.look(f"desiccant_soon-{BOX}").alarm.priority == "low"


def test_silence_is_no_acknowledgement(calm):
    """A-05: bounded, for all but safety; what still holds is told when it is over."""
    calm.acts.silence(10.0, "Kim")
    calm.set("humidity_high", True)
    calm.set("oven_trip", True, OVEN)
    calm.look()
    assert calm.kinds() == [("active", f"oven_trip-{OVEN}")]
    assert calm.shown()[KEY] == "unack"
    calm.look(20)
    assert ("active", KEY) in calm.kinds()
    for minutes in (0.0, 61.0, float("nan"), float("inf")):
        with pytest.raises(BadInputError, match="minutes must be 1 to 60"):
            calm.acts.silence(minutes, "Kim")


def test_a_silence_outlives_a_restart(calm):
    calm.acts.silence(10.0, "Kim")
    until_s = calm.desk.silent_until_s()
    calm.kill()
    assert calm.desk.silent_until_s() == until_s


def test_what_is_refused_is_written_with_who_asked(calm):
    """A-04, A-11."""
    calm.set("humidity_high", True)
    calm.set("oven_trip", True, OVEN)
    calm.look()
    trip = f"oven_trip-{OVEN}"
    asked = [
        lambda: calm.acts.acknowledge(KEY, "old", "Kim"),
        lambda: calm.acts.reset(trip, "Kim"),
        lambda: calm.acts.shelve(trip, "Kim", "known", one_shot=True),
        lambda: calm.acts.shelve(KEY, "Kim", "known"),
        lambda: calm.acts.shelve(KEY, "Kim", "known", until_s=float("nan")),
        lambda: calm.acts.out_of_service(trip, "Kim", "loud"),
        lambda: calm.acts.unshelve(KEY, "Kim"),
        lambda: calm.acts.return_to_service(KEY, "Kim"),
        lambda: calm.acts.acknowledge("no-such", "x", "Kim"),
    ]
    before = calm.desk.looks()
    for ask in asked:
        count = len(calm.audited)
        with pytest.raises((RefusedError, BadInputError)):
            ask()
        (entry,) = calm.audited[count:]
        assert entry.who == "Kim"
        assert entry.what.startswith("refused")
    assert calm.desk.looks() == before


def test_a_number_of_the_table_is_changed_and_taken_back(calm):
    """A-32: old, new, who, why, when; holds through a restart; taken back in one act."""
    figure = calm.acts.set_figure("humidity_high", "deadband", 3.0, "Kim", "noisy sensor")
    assert (figure.old, figure.value) == (2.0, 3.0)
    calm.kill()
    assert calm.desk.row("humidity_high").deadband == 3.0
    calm.clock.wall += 1.0
    calm.acts.revert_figure("humidity_high", "deadband", "Ada")
    assert calm.desk.row("humidity_high").deadband == 2.0
    assert [(f.who, f.value) for f in calm.acts.figures()] == [("Kim", 3.0), ("Ada", 2.0)]
    assert [e.detail["new"] for e in calm.audited if e.kind == "figure"] == [3.0, 2.0]


@pytest.mark.parametrize(
    ("kind", "name", "value"),
    [
        ("humidity_high", "on_delay_s", 10_801.0),
        ("humidity_high", "deadband", -1.0),
        ("humidity_high", "deadband", float("nan")),
        ("humidity_high", "k", 2.0),
        ("oven_trip", "deadband", 1.0),
        ("no_such", "deadband", 1.0),
    ],
)
def test_a_number_out_of_bounds_is_refused(calm, kind, name, value):
    """A-32: unauthorised changes are none by construction."""
    with pytest.raises(BadInputError):
        calm.acts.set_figure(kind, name, value, "Kim", "because")
    assert calm.acts.figures() == ()


def test_a_box_that_is_gone_ends_its_alarms(calm):
    calm.set("humidity_high", True, "old-box")
    calm.look()
    calm.holds.pop(("humidity_high", "old-box"))
    calm.look()
    assert calm.shown() == {}
    assert calm.kinds() == [("active", "humidity_high-old-box"), ("clears", "humidity_high-old-box")]


def test_a_rule_that_says_nothing_of_a_box_that_is_there_clears_nothing(calm):
    """A-02."""
    calm.set("humidity_high", True)
    calm.look()
    calm.holds.clear()
    calm.look(3)
    assert calm.shown() == {KEY: "unack"}
    assert calm.desk.look(KEY).alarm.condition is None


@pytest.mark.parametrize("encode", [lambda says: json.dumps(says).encode(), cbor2.dumps])
def test_smoke_does_not_wait_for_the_next_look(calm, encode):
    calm.set("oven_trip", True, OVEN)
    calm.desk.arrived(_pack(calm, encode, smoke=True))
    assert calm.desk.is_urgent()
    calm.turn()  # what came is written first
    calm.turn()
    assert calm.kinds() == [("active", f"oven_trip-{OVEN}")]


def test_a_detector_that_is_quiet_makes_no_haste(calm):
    """Though the words are in its pack: what is true there is something else."""
    calm.desk.arrived(_pack(calm, lambda says: json.dumps(says).encode(), smoke=False))
    assert not calm.desk.is_urgent()


def _pack(site, encode, *, smoke):
    is_cbor = encode is cbor2.dumps
    names = {"bn": -2, "bt": -3, "n": 0, "vb": 4, "vs": 3, "v": 2} if is_cbor else {}
    says = [
        {"bn": "air/", "bt": site.clock.wall, "n": "smoke", "vb": smoke},
        {"n": "motion", "vb": True},
        {"bn": "", "n": "seq", "v": 1},
        {"n": "boot", "vs": "d1"},
    ]
    return Arrival(
        topic="sorbwatch/attic/node/n1/senml",
        payload=encode([{names.get(name, name): value for name, value in record.items()} for record in says]),
        content_type="application/senml+cbor" if is_cbor else None,
        wall_s=site.clock.wall,
        mono_s=site.clock.mono,
    )


def test_a_calm_site_writes_nothing(calm):
    """The card is spared: nothing is written while nothing changes."""
    writes = []
    real, calm.store.apply = calm.store.apply, writes.append
    calm.look(50)
    calm.store.apply = real
    assert writes == []


def test_a_table_that_breaks_its_own_rules_is_not_used():
    """A-17."""
    with pytest.raises(BadInputError, match="on_delay_s"):
        AlarmSources(rows={"x": row("x", respond_s=60.0, on_delay_s=60.0)})
    with pytest.raises(BadInputError, match="no rule lid"):
        AlarmSources(rows={"x": row("x", hidden_by=("lid",))})


def test_the_review_of_alarms_is_counted_from_their_log(calm):
    """A-19, A-33."""
    for _ in range(3):
        calm.set("humidity_high", True)
        calm.look()
        calm.set("humidity_high", False, value=1.0, limit=20.0)
        calm.look()
    health = calm.acts.health(days=1.0)
    assert health.activations == 3
    assert health.slow_chattering == (KEY,)
    assert health.fleeting == {KEY: 3}
    assert "oven_trip" in health.never_fired
    assert health.never_acked == (KEY,)


def test_the_log_keeps_how_long_it_held_before_it_was_raised(calm):
    """A-18."""
    calm.acts.set_figure("humidity_high", "on_delay_s", 600.0, "Kim", "lids")
    calm.set("humidity_high", True)
    calm.look(40)
    assert calm.shown() == {KEY: "unack"}
    assert calm.acts.health(days=1.0).detection_delay_s == {KEY: 600.0}


def test_what_the_desk_keeps_fits_into_its_column(calm):
    """Of a site as large as can be; a text beyond the bound would be refused with the whole batch, for ever."""
    long, most = "k" * 63, Priority.MEDIUM
    raised = tuple(Raised(key=long, place=long, name=long, priority=most, at_s=1e9 / 7) for _ in range(900))
    storm = Storm(id=long, since_s=1e9 / 7, newest_s=1e9 / 7, first=long, members=(long,) * 900)
    noticed = [f"check_due-{n:04d}{'k' * 59} 1790000000" for n in range(5_000)]
    text = desk_text(Gathered(recent=raised, storm=storm, unseen=(storm,) * 8), 1e9 / 7, noticed)
    changes = AlarmChanges(states={"-desk": KeptAlarm(shown="norm", content=text)})
    calm.store.apply(Batch(alarms=changes))
    assert calm.store.load().alarms.states["-desk"] == text


def test_a_fault_half_way_leaves_all_as_it_was(calm, monkeypatch):
    """What is known and what is written stay the same; the next look does it whole."""
    calm.set("humidity_high", True)
    monkeypatch.setattr(alarm_desk, "to_text", lambda _: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        calm.look()
    monkeypatch.undo()
    calm.look()
    assert calm.kinds() == [("active", KEY)]
