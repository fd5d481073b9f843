"""What receivers say beyond yes and no, the test of the whole way (A-40), and addresses whose key is gone."""

import pytest
from support.delivery import NOON_S, message, post
from support.pages import FakeQueries

from monitor.alarms.notices import notices
from monitor.edge.ways import Ways
from monitor.errors import BadInputError, GoneError, LaterError
from monitor.model.around import Around
from monitor.model.audit import AuditKind
from monitor.model.delivery import SITE, TEST_CODE, Outcome
from monitor.model.message import MessageKind, Priority
from monitor.store.backup import backup

pytestmark = pytest.mark.filterwarnings("default")  # the library's own warnings are not ours to mend
DAY_S = 86_400.0
STATUS = FakeQueries().status()


@pytest.fixture
def site(tmp_path):
    with post(tmp_path) as made:
        yield made


def owed(site):
    """What the alarms' desk would have to tell of tests that nobody made."""
    around = Around(test_owed_s=site.delivery.test_owed_s())
    return notices(frozenset(), STATUS, around, site.now_s)[0]


def test_what_has_ended_is_removed_and_the_next_way_takes_over(site):
    """404 or 410 of a browser: nothing more is tried there, and an urgent message does not wait for its rung."""
    site.way("webpush:one")
    site.way("json://two")
    site.answers["webpush:one"] = GoneError("the browser does not take messages any more")
    noted = []
    site.engine.audit = lambda *entries: noted.extend(entries)
    site.tell(message(priority=Priority.SAFETY))
    site.turn()
    site.turn(1)
    assert [each.name for each in site.delivery.recipients().channels] == ["json://two"]
    assert [address for address, *_ in site.got] == ["webpush:one", "json://two"]
    assert {entry.what for entry in noted} == {"gave a message up", "removed a way that had ended"}
    assert all(entry.kind is AuditKind.DELIVERY for entry in noted)


def test_who_asks_for_patience_gets_it(site):
    """Retry-After beyond our own step is waited for; the step alone would have been 60 s."""
    site.way("webpush:one")
    site.answers["webpush:one"] = LaterError("patience", 240.0)
    site.tell(message())
    site.turn()
    site.turn(200)
    assert len(site.got) == 1
    site.answers["webpush:one"] = True
    site.turn(41)
    assert len(site.got) == 2
    assert site.states() == ["sent"]


def test_an_end_bears_the_topic_of_its_beginning(site):
    """So it takes the beginning's place on the phone; another alarm's does not."""
    site.way("webpush:one")
    for kind, occurrence in (
        (MessageKind.ACTIVE, "1"),
        (MessageKind.WORSE, "1"),
        (MessageKind.CLEARS, "1"),
        (MessageKind.ACTIVE, "2"),
    ):
        site.tell(message(kind=kind, occurrence=occurrence, priority=Priority.SAFETY))
        site.turn(600)
    topics = [letter.topic for letter in site.letters]
    assert len(topics) == 4
    assert topics[0] == topics[1] == topics[2] != topics[3]
    assert all(len(topic) == 32 and topic.replace("-", "").replace("_", "").isalnum() for topic in topics)
    assert {letter.path for letter in site.letters} == {"/alarms/a-b"}


def test_the_whole_way_from_a_condition_to_a_tap(site):
    """A-40: condition, message, way, link, tap; each way has a link of its own, good once, and the time is kept."""
    site.way("json://one")
    site.way("json://two")
    site.delivery.test("Mara", SITE, "http://board:8484/")
    site.turn()
    assert [letter.test_key != "" for letter in site.letters] == [True, True]
    first = site.letters[0]
    assert f"http://board:8484/me/messages/test/{TEST_CODE}" in first.text
    code = site.delivery._ways.test_code(first.test_key)
    assert site.delivery.tested(code).heard_ms is None
    site.now_s += 42.0
    site.delivery.tapped(code)
    row = site.delivery.tested(code)
    assert (row.key, row.heard_ms - row.made_ms) == (first.test_key, 42_000)
    assert [each.heard_ms is None for each in site.rows().values()].count(True) == 1
    assert not site.delivery.test_is_due(SITE)
    with pytest.raises(BadInputError, match="was used"):
        site.delivery.tapped(code)


def test_a_link_is_good_for_an_hour(site):
    """And nothing that is not one of ours is good at all."""
    site.way("json://one")
    site.delivery.test("Mara", SITE, "http://board:8484")
    site.turn()
    code = site.delivery._ways.test_code(site.letters[0].test_key)
    for wrong in ("", "x" * 32, code[:-1], code + "x", "ä" * 32):
        assert site.delivery.tested(wrong) is None
        with pytest.raises(BadInputError):
            site.delivery.tapped(wrong)
    site.now_s += 3_600.0
    assert site.delivery.tested(code) is not None
    site.now_s += 1.0
    with pytest.raises(BadInputError, match="over an hour old"):
        site.delivery.tapped(code)


def test_what_proves_a_test_is_in_no_table(tmp_path):
    """Whoever reads the database, or a backup, cannot say that a test has come."""
    ways = Ways(tmp_path / "site.db", contact="", now_s=lambda: NOON_S)
    with post(tmp_path, ways=ways) as site:
        site.delivery.add_channel("Mara", SITE, "hook", "json://192.0.2.1", is_owner=True)
        site.delivery.test("Mara", SITE, "http://board")
        (row,) = site.rows().values()
        code = ways.test_code(row.key)
        assert site.delivery.tested(code) == row
        stored = b"".join(path.read_bytes() for path in tmp_path.glob("site.db*"))
    assert TEST_CODE.encode() in stored
    assert code.encode() not in stored


def test_a_test_that_is_owed_for_90_days_is_a_notice(site):
    """Counted from the last that was heard, or from when there was a way; told again after 30 days, not sooner."""
    assert owed(site) == ()
    site.way("json://one")
    site.now_s += 89 * DAY_S
    assert owed(site) == ()
    site.now_s += DAY_S
    (notice,) = owed(site)
    assert (notice.type, notice.kind, notice.priority) == (
        "alarm_test_due",
        MessageKind.NOTICE,
        Priority.NOTICE,
    )
    assert "the site" in notice.what
    site.tell(notice)
    site.tell(*owed(site))
    assert len(site.rows()) == 1
    site.now_s += 29 * DAY_S
    assert owed(site)[0].occurrence == notice.occurrence
    site.now_s += 2 * DAY_S
    assert owed(site)[0].occurrence != notice.occurrence
    site.delivery.test("Mara", SITE)
    site.turn()
    site.delivery.heard("Mara", SITE, site.letters[-1].test_key)
    assert owed(site) == ()


def test_the_last_test_heard_is_known_until_the_next_one(site):
    """Though what was sent is forgotten after 90 days: else the same debt would be told under another name."""
    site.way("json://one")
    for _ in range(2):
        site.now_s += 100 * DAY_S
        site.delivery.test("Mara", SITE)
        site.turn()
        site.delivery.heard("Mara", SITE, site.letters[-1].test_key)
    heard_s = site.now_s
    site.now_s += 91 * DAY_S
    site.store.prune(round(site.now_s * 1000))
    assert len(site.states()) == 1
    assert site.delivery.test_owed_s() == {"the site": heard_s + 90 * DAY_S}


def test_restored_without_the_key_it_says_so_and_goes_on(tmp_path):
    """A backup holds the database alone: nothing gets out by the old ways, and a new one works."""
    (tmp_path / "old").mkdir()
    (tmp_path / "new").mkdir()
    old = Ways(tmp_path / "old" / "site.db", contact="", now_s=lambda: NOON_S)
    with post(tmp_path / "old", ways=old) as site:
        site.delivery.add_channel("Mara", SITE, "hook", "json://192.0.2.1:1", is_owner=True)
    backup(tmp_path / "old" / "site.db", tmp_path / "new" / "site.db")
    new = Ways(tmp_path / "new" / "site.db", contact="", now_s=lambda: NOON_S)
    with post(tmp_path / "new", ways=new) as site:
        (channel,) = site.delivery.recipients().channels
        assert not site.delivery.can_open(channel)
        site.tell(message())
        site.turn()
        (row,) = site.rows().values()
        assert row.state is Outcome.QUEUED
        assert "enter the address again" in row.trouble
        assert site.delivery.tested(new.test_code(row.key)) is None
        assert len(new.push_key()) == 87
        site.delivery.add_channel("Mara", SITE, "again", "json://192.0.2.1:1", is_owner=True)
        assert [site.delivery.can_open(each) for each in site.delivery.recipients().channels] == [False, True]
