"""People and their acts as rows: whole or not at all, and acts never changed."""

import sqlite3
from contextlib import closing

import pytest

from monitor.errors import StoreError
from monitor.model.batch import Batch
from monitor.model.people import (
    Act,
    CodeMade,
    CodeUsed,
    PasswordSet,
    PersonAdded,
    PersonRemoved,
    Role,
    RoleSet,
    SessionBegun,
    SessionEnded,
    SessionSeen,
    fold,
)
from monitor.store import people
from monitor.store.reader import Reader
from monitor.store.store import Store

ADDED = PersonAdded(name="Mara", role=Role.OWNER, at_ms=1_000)
BEGUN = SessionBegun(key="mara", digest=b"t" * 32, device="Phone", at_ms=2_000)
ACT = Act(at_ms=3_000, person="Mara", what="moved", on_what="grey", detail="record 1")


@pytest.fixture
def reader(database, store):
    with closing(Reader(database, store.site)) as opened:
        yield opened


def apply(store, *changes, acts=()):
    store.apply(Batch(people=list(changes), acts=list(acts)))


@pytest.mark.parametrize("sql", ["UPDATE act SET person = 'x'", "DELETE FROM act"])
def test_an_act_is_never_changed_nor_deleted(database, store, reader, sql):
    """A log that somebody can tidy up proves nothing."""
    apply(store, acts=[ACT])
    with closing(sqlite3.connect(database)) as db, pytest.raises(sqlite3.IntegrityError, match="never"):
        db.execute(sql)
    assert reader.acts() == (ACT,)


def test_an_act_is_written_with_what_it_tells_of_or_not_at_all(store, reader, monkeypatch):
    """Same transaction: no change without its line in the log, no line without its change."""

    def fails(*_):
        raise StoreError("the disk is full")

    monkeypatch.setattr("monitor.store.store.facts.trim_quarantine", fails)
    with pytest.raises(StoreError):
        apply(store, ADDED, acts=[ACT])
    assert (reader.people(), reader.acts()) == ((), ())
    monkeypatch.undo()
    apply(store, ADDED, acts=[ACT])
    assert (len(reader.people()), len(reader.acts())) == (1, 1)


def test_the_same_batch_twice_is_the_same_as_once(store, reader):
    """A batch whose commit was not heard of is applied again."""
    changes = (
        ADDED,
        PasswordSet(key="mara", password="p"),
        CodeMade(key="mara", digest=b"c", until_ms=9),
        BEGUN,
    )
    for _ in range(2):
        apply(store, *changes, acts=[ACT])
    assert [(each.name, each.role, each.has_password) for each in reader.people()] == [
        ("Mara", "owner", True)
    ]
    assert [(each.device, each.since_ms) for each in reader.sessions()] == [("Phone", 2_000)]
    assert reader.acts() == (ACT,)


def test_a_change_about_somebody_who_is_gone_does_nothing(store, reader):
    """The worker repeats a failing batch for ever: so none of these may fail."""
    apply(
        store,
        PasswordSet(key="ghost", password="p"),
        RoleSet(key="ghost", role=Role.DO),
        PersonRemoved(key="ghost"),
        CodeUsed(key="ghost"),
        SessionBegun(key="ghost", digest=b"g" * 32, device="Phone", at_ms=1),
        SessionSeen(number=99, at_ms=1),
        SessionEnded(number=99),
    )
    assert (reader.people(), reader.sessions()) == ((), ())


def test_removal_takes_sessions_and_codes_along_and_leaves_the_log(store, reader):
    """Who is sent away is out at once; what they did was done all the same."""
    apply(store, ADDED, BEGUN, CodeMade(key="mara", digest=b"c", until_ms=9), acts=[ACT])
    apply(store, PersonRemoved(key="mara"))
    assert reader.session(b"t" * 32) is None
    assert reader.code(b"c") is None
    assert reader.acts() == (ACT,)


def test_the_number_of_who_is_gone_is_never_given_again(store, reader):
    """An old page's form must not reach somebody else."""
    apply(store, ADDED)
    first = reader.people()[0].number
    apply(store, PersonRemoved(key="mara"))
    apply(store, PersonAdded(name="Ilse", role=Role.DO, at_ms=5))
    assert reader.people()[0].number > first


def test_a_person_has_so_many_sessions_and_the_one_unused_for_longest_goes(store, reader):
    """Signing in ten thousand times must not fill the card."""
    apply(store, ADDED, PersonAdded(name="Ilse", role=Role.DO, at_ms=5))
    apply(store, SessionBegun(key="ilse", digest=b"i" * 32, device="hers", at_ms=0))
    for number in range(people.SESSIONS_EACH + 5):
        digest = number.to_bytes(32, "big")
        apply(store, SessionBegun(key="mara", digest=digest, device=str(number), at_ms=number))
    kept = [each.device for each in reader.sessions() if each.person.name == "Mara"]
    assert kept == [str(number) for number in range(people.SESSIONS_EACH + 4, 4, -1)]
    assert reader.session(b"i" * 32) is not None


def test_a_code_takes_the_place_of_the_one_before(store, reader):
    """Whoever was given two has one that works."""
    apply(store, ADDED, CodeMade(key="mara", digest=b"one", until_ms=9))
    apply(store, CodeMade(key="mara", digest=b"two", until_ms=9))
    assert reader.code(b"one") is None
    assert reader.code(b"two").person_key == "mara"


def test_people_of_another_site_in_the_same_database_are_strangers(tmp_path):
    """Every row belongs to a site."""
    path = tmp_path / "two.db"
    for site, name in (("one", "Mara"), ("two", "Ilse")):
        with closing(Store(path, site)) as store:
            key = fold(name)
            begun = SessionBegun(key=key, digest=key.encode(), device="d", at_ms=1)
            apply(store, PersonAdded(name=name, role=Role.DO, at_ms=1), begun, acts=[ACT])
    with closing(Reader(path, "two")) as reader:
        assert [each.name for each in reader.people()] == ["Ilse"]
        assert reader.session(b"mara") is None
        assert reader.password("mara") is None
        number = reader.sessions()[0].number
    with closing(Store(path, "one")) as store:
        apply(store, SessionEnded(number=number), SessionSeen(number=number, at_ms=99))
    with closing(Reader(path, "two")) as reader:
        assert [each.seen_ms for each in reader.sessions()] == [1]


@pytest.mark.parametrize("other", ["MARA", " mara ", "Mára".replace("á", "a"), "Ｍａｒａ"])
def test_one_name_in_two_spellings_is_one_person(store, reader, other):
    """A look-alike could sign another's name."""
    apply(store, ADDED, PersonAdded(name=other, role=Role.LOOK, at_ms=2))
    assert [each.name for each in reader.people()] == ["Mara"]
