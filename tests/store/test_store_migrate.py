"""Every earlier database is brought up to date; one that is later, another's or damaged is refused."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from monitor.errors import StoreError
from monitor.store.connection import open_writer
from monitor.store.migrate import SCHEMA_FOLDER, migrate, migrations, require_current
from monitor.store.reader import Reader
from monitor.store.store import Store

VERSIONS = range(len(migrations()))


def _schema(db):
    return sorted(db.execute("SELECT type, name, sql FROM sqlite_schema").fetchall())


def _folder_up_to(tmp_path, number):
    folder = tmp_path / "schema"
    folder.mkdir()
    for file in list(migrations().values())[:number]:
        (folder / file.name).write_text(file.read_text())
    return folder


@pytest.mark.parametrize("version", VERSIONS)
def test_every_earlier_version_ends_like_a_new_database(tmp_path, version):
    """An upgrade must work from whatever release somebody still runs."""
    old, new = tmp_path / "old.db", tmp_path / "new.db"
    with closing(open_writer(old)) as db:
        migrate(db, old, _folder_up_to(tmp_path, version))
        migrate(db, old)
        upgraded = _schema(db)
    with closing(open_writer(new)) as db:
        migrate(db, new)
        assert _schema(db) == upgraded
        recorded = db.execute("SELECT number, name FROM migration").fetchall()
    assert recorded == [(number, file.name) for number, file in migrations().items()]


def test_a_later_file_is_run_once_on_a_filled_database(tmp_path, reading, batch):
    """The next release adds a file; what is stored stays."""
    path, folder = tmp_path / "site.db", _folder_up_to(tmp_path, len(VERSIONS))
    with closing(Store(path, "lab")) as store:
        store.apply(batch(reading(0)))
    number = len(VERSIONS) + 1
    (folder / f"{number:04d}_more.sql").write_text("CREATE TABLE more (a INTEGER) STRICT;\n-- the end\n")
    with closing(open_writer(path)) as db:
        migrate(db, path, folder)
        migrate(db, path, folder)
        assert db.execute("SELECT count(*) FROM reading").fetchone() == (1,)
        assert db.execute("PRAGMA user_version").fetchone() == (number,)
    with pytest.raises(StoreError, match="written by a later version"):
        Store(path)


def test_a_migration_that_fails_leaves_the_database_as_it_was(tmp_path):
    """Half a migration could be neither finished nor undone."""
    path, folder = tmp_path / "site.db", _folder_up_to(tmp_path, len(VERSIONS))
    with closing(open_writer(path)) as db:
        migrate(db, path, folder)
        before = _schema(db)
        (folder / f"{len(VERSIONS) + 1:04d}_bad.sql").write_text(
            "CREATE TABLE more (a INTEGER) STRICT;\nINSERT INTO nowhere VALUES (1);\n"
        )
        with pytest.raises(StoreError, match="nowhere"):
            migrate(db, path, folder)
        assert _schema(db) == before
        assert db.execute("PRAGMA user_version").fetchone() == (len(VERSIONS),)


def test_files_count_up_without_a_gap(tmp_path):
    """A missing file would otherwise shift all later ones."""
    (tmp_path / "0002_later.sql").write_text("")
    with pytest.raises(StoreError, match="not installed whole"):
        migrations(tmp_path)
    assert all(file.parent == SCHEMA_FOLDER for file in migrations().values())


def test_a_reader_does_not_open_an_earlier_version(tmp_path):
    """It cannot migrate, and guessing at an old schema would give wrong answers."""
    path = tmp_path / "site.db"
    with closing(open_writer(path)) as db:
        db.execute("PRAGMA application_id = 1397707330")
        with pytest.raises(StoreError, match="earlier version"):
            require_current(db, path)


def test_another_programs_database_is_refused_and_not_touched(tmp_path):
    """A mistyped --database must not write into somebody's photographs."""
    path = tmp_path / "photos.db"
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE photo (id INTEGER)")
        db.commit()
    before = path.read_bytes()
    for opens in (Store, Reader):
        with pytest.raises(StoreError, match="another program"):
            opens(path)
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["photos.db"]


@pytest.mark.parametrize("opens", [Store, Reader])
def test_a_damaged_file_says_what_to_do(tmp_path, opens):
    """Who stands before the board needs the way out, not a traceback."""
    path = tmp_path / "site.db"
    path.write_bytes(b"not a database at all " * 400)
    with pytest.raises(StoreError, match=r"restore FILE"):
        opens(path)


def test_damage_inside_the_file_is_found_by_the_check(tmp_path, reading, batch):
    """SQLite opens a file with a ruined page without a word."""
    path = tmp_path / "site.db"
    with closing(Store(path, "lab")) as store:
        store.apply(batch(*(reading(at_s, channel=f"c{at_s % 9}") for at_s in range(5000))))
        store.check()
    content = bytearray(path.read_bytes())
    for page in range(len(content) // 4096 - 12, len(content) // 4096 - 4):
        content[page * 4096 : page * 4096 + 200] = bytes(200)
    path.write_bytes(content)
    with closing(Store(path, "lab")) as store, pytest.raises(StoreError, match="restore FILE"):
        store.check()


def test_a_database_that_is_not_there_is_not_made_by_asking(tmp_path):
    """`status` on a mistyped name must say so and leave nothing behind."""
    with pytest.raises(StoreError, match="no database"):
        Reader(tmp_path / "typo.db")
    assert list(Path(tmp_path).iterdir()) == []
    with pytest.raises(StoreError, match="unable to open"):
        Store(tmp_path / "no_such_folder" / "site.db")
