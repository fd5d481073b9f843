"""A copy made while the writer works is whole, and coming back never destroys what is there."""

import hashlib
import sqlite3
import threading
from contextlib import closing

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.errors import BadInputError, RefusedError, StoreError
from monitor.model.audit import AuditEntry, AuditFilter, AuditKind
from monitor.model.batch import Batch
from monitor.store import backup as backups
from monitor.store.files import ServiceLock
from monitor.store.reader import Reader
from monitor.store.store import Store


def _count(path):
    with closing(sqlite3.connect(path)) as db:
        return db.execute("SELECT count(*), count(DISTINCT time_ms) FROM reading").fetchone()


def test_a_backup_while_writing_is_a_whole_state(store, database, reading, batch, tmp_path):
    """A plain copy of the file would miss what is still in the log."""
    done, sizes = threading.Event(), []

    def copy_on():
        while not done.is_set():
            target = tmp_path / f"copy-{len(sizes)}.db"
            backups.backup(database, target)
            sizes.append(_count(target))

    thread = threading.Thread(target=copy_on)
    thread.start()
    at_s = 0
    while len(sizes) < 5 and thread.is_alive():
        store.apply(batch(*(reading(at_s, channel=f"c{number}") for number in range(4))))
        at_s += 1
    done.set()
    thread.join()
    assert len(sizes) >= 5
    assert all(rows == 4 * moments for rows, moments in sizes), "a batch of four was torn"
    assert sizes == sorted(sizes)


def test_a_backup_is_one_file_that_opens_by_itself(store, database, reading, batch, tmp_path):
    """It is carried away on a stick, without the log beside it."""
    store.apply(batch(reading(0)))
    target = tmp_path / "away" / "copy.db"
    target.parent.mkdir()
    backups.backup(database, target)
    backups.backup(database, target)  # again to the same name: replaced whole
    assert sorted(path.name for path in target.parent.iterdir()) == ["copy.db", "copy.db.sha256"]
    backups.digest_path(target).unlink()
    with closing(Store(target)) as copy:
        assert copy.site == "lab"


@pytest.mark.usefixtures("store")
def test_a_backup_to_nowhere_or_onto_itself_is_refused(database, tmp_path):
    """The one would overwrite the database, the other fail without a reason."""
    with pytest.raises(BadInputError, match="itself"):
        backups.backup(database, database)
    with pytest.raises(RefusedError, match="no folder"):
        backups.backup(database, tmp_path / "nowhere" / "copy.db")


def test_restore_brings_the_copy_back_and_keeps_what_it_replaced(database, reading, batch, tmp_path):
    """Whoever restores the wrong copy must be able to go back."""
    copy = tmp_path / "copy.db"
    with closing(Store(database, "lab")) as store:
        store.apply(batch(reading(0)))
        backups.backup(database, copy)
        store.apply(batch(reading(60)))
    kept = backups.restore(database, copy)
    again = backups.restore(database, copy)
    assert _count(database)[0] == 1
    assert _count(kept)[0] == 2
    assert _count(again)[0] == 1
    with closing(Reader(database)) as reader:
        assert len(reader.latest()) == 1


def test_restore_keeps_the_log_of_a_writer_that_was_killed(database, reading, batch, tmp_path):
    """Its newest readings are only in the log, so the log is kept with the file."""
    copy = tmp_path / "copy.db"
    with closing(Store(database, "lab")) as store:
        backups.backup(database, copy)
        store.apply(batch(reading(0)))
        for side in ("", "-wal"):  # the files as a kill leaves them
            source = database.with_name(database.name + side)
            source.with_name("killed.db" + side).write_bytes(source.read_bytes())
    kept = backups.restore(tmp_path / "killed.db", copy)
    assert _count(tmp_path / "killed.db")[0] == 0
    assert _count(kept)[0] == 1


@pytest.mark.usefixtures("store")
def test_restore_to_a_new_board_needs_no_database_there(database, tmp_path):
    """The old card is dead: there is nothing to replace."""
    copy, fresh = tmp_path / "copy.db", tmp_path / "fresh.db"
    backups.backup(database, copy)
    assert backups.restore(fresh, copy) is None
    with closing(Store(fresh)) as restored:
        assert restored.site == "lab"


@pytest.mark.usefixtures("store")
def test_restore_under_a_running_service_is_refused(database, tmp_path):
    """The service would go on writing into a file that has no name any more."""
    copy = tmp_path / "copy.db"
    backups.backup(database, copy)
    with ServiceLock(database), pytest.raises(RefusedError, match="stop it first"):
        backups.restore(database, copy)


def test_a_damaged_copy_replaces_nothing(database, store, reading, batch, tmp_path):
    """The check comes before the change."""
    copy = tmp_path / "copy.db"
    store.apply(batch(*(reading(at_s) for at_s in range(5000))))
    backups.backup(database, copy)
    content = bytearray(copy.read_bytes())
    content[len(content) // 2 :] = bytes(len(content) - len(content) // 2)
    copy.write_bytes(content)
    before = database.read_bytes()
    with pytest.raises(StoreError):
        backups.restore(database, copy)
    assert database.read_bytes() == before
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.usefixtures("store")
def test_a_copy_of_another_program_or_of_nothing_is_refused(database, tmp_path):
    """`restore holiday.jpg` must not end the history of a site."""
    for name, content in (("empty.db", b""), ("holiday.jpg", b"JFIF" * 2000)):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(StoreError):
            backups.restore(database, tmp_path / name)
    with pytest.raises(BadInputError, match="no backup"):
        backups.restore(database, tmp_path / "absent.db")


def test_nobody_is_signed_in_by_an_old_copy(store, database, tmp_path):
    """A device that was signed out since, or whose person was removed, must not be let in by a restore."""
    copy = tmp_path / "copy.db"
    with closing(sqlite3.connect(database)) as db, db:
        site = db.execute("SELECT site_id FROM site").fetchone()[0]
        db.execute("INSERT INTO person VALUES (1, ?, 'mira', 'Mira', 'owner', 'scrypt$x', 5)", (site,))
        db.execute("INSERT INTO session VALUES (1, 1, x'01', 'Phone', 5, 5)")
        db.execute("INSERT INTO one_time_code VALUES (?, 'ben', x'02', 5)", (site,))
    backups.backup(database, copy)
    store.close()
    backups.restore(database, copy)
    with closing(sqlite3.connect(database)) as db:
        left = [
            db.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in ("session", "one_time_code")
        ]
    assert left == [0, 0]
    assert backups.people_in(database) == ("Mira: owner",)
    with closing(sqlite3.connect(copy)) as db:
        assert (
            db.execute("SELECT count(*) FROM session").fetchone()[0] == 1
        )  # the copy itself is left as it was


@pytest.fixture
def copied(store, database, tmp_path):
    """A backup with a log of four lines."""
    entries = [
        AuditEntry(at_ms=number, who="Kim", kind=AuditKind.ACT, about="b1", what="moved")
        for number in range(3)
    ]
    store.apply(Batch(audit=entries))
    copy = tmp_path / "copy.db"
    backups.backup(database, copy)
    return copy


@given(place=st.floats(0.0, 1.0, exclude_max=True), flip=st.integers(1, 255))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_byte_that_changed_in_a_backup_is_found(copied, tmp_path, place, flip):
    content = bytearray(copied.read_bytes())
    bad = tmp_path / "bad.db"
    backups.digest_path(bad).write_bytes(backups.digest_path(copied).read_bytes())
    content[int(place * len(content))] ^= flip
    bad.write_bytes(content)
    with pytest.raises(StoreError, match="not as it was written"):
        backups.inspect(bad)
    with pytest.raises(StoreError, match="not as it was written"):
        backups.restore(tmp_path / "fresh.db", bad)
    assert not (tmp_path / "fresh.db").exists()


def test_a_sound_backup_is_said_to_be_one_and_is_not_touched(copied):
    before = copied.read_bytes()
    assert backups.inspect(copied) == f"{copied} is whole and its log holds"
    backups.digest_path(copied).unlink()
    assert "no digest" in backups.inspect(copied)
    assert copied.read_bytes() == before


def test_a_copy_whose_log_does_not_hold_is_refused_and_nothing_changes(
    copied, store, database, tmp_path, caplog
):
    """A-37: also with a digest made to fit."""
    with closing(sqlite3.connect(copied)) as db:
        db.execute("DROP TRIGGER audit_is_never_changed")
        db.execute("UPDATE audit SET who = 'Ola' WHERE seq = 3")
        db.commit()
    backups.digest_path(copied).write_text(hashlib.sha256(copied.read_bytes()).hexdigest())
    store.close()
    before = database.read_bytes()
    with pytest.raises(StoreError, match=r"^\S+ cannot be trusted: line 3 of the log was changed"):
        backups.restore(database, copied)
    assert database.read_bytes() == before
    assert not list(tmp_path.glob("*.part")) + list(tmp_path.glob("*.replaced-*"))
    assert "restore refused" in caplog.text
    assert "who=console" in caplog.text


def test_a_restore_stands_in_the_log_that_goes_on_from_it(copied, tmp_path):
    fresh = tmp_path / "fresh.db"
    backups.restore(fresh, copied, now_ms=77)
    with closing(Reader(fresh)) as reader:
        last = reader.audit(AuditFilter())[-1]
        assert reader.audit_fault() is None
    assert (last.seq, last.row.who, last.row.what, last.row.at_ms) == (5, "console", "restored a backup", 77)
