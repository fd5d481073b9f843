"""The log of all that was done: every line once, none changed, none missing, and it shows when one was (A-37)."""

import sqlite3
from contextlib import closing

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import StoreError
from monitor.model.audit import AuditEntry, AuditFilter, AuditHead, AuditKind
from monitor.model.batch import Batch, InventoryChange
from monitor.model.catalogue import OwnFigure
from monitor.model.cycle import OvenRecord, RecordKind
from monitor.model.inventory import Inventory, Room, Spool
from monitor.model.oven_fact import FactKind, OvenChanges, OvenFact
from monitor.model.people import Act, CodeMade, PasswordSet, PersonAdded, Role, RoleSet
from monitor.model.spool_event import Moved, SpoolEvent
from monitor.store.audit import BEGINS
from monitor.store.migrate import SCHEMA_FOLDER, migrate
from monitor.store.reader import Reader
from monitor.store.store import Store

AT_MS = 1_790_000_000_000
ALL = AuditFilter()
COLUMNS = ("at_ms", "quality", "who", "kind", "about", "what", "detail", "prev", "hash", "seq", "site_id")


def _entry(number, **more):
    plain = {"at_ms": AT_MS + number, "who": "Kim", "kind": AuditKind.ALARM, "about": "humidity_high-b1"}
    return AuditEntry(**(plain | {"what": f"acknowledged {number}", "detail": {"was": 1.5}} | more))


def _full_batch():
    """Something of everything that people and the system do."""
    return Batch(
        newest_ms=AT_MS,
        acts=[Act(at_ms=AT_MS, person="Kim", what="invited", on_what="Ola", detail="owner")],
        people=[
            PersonAdded(name="Ola", role=Role.OWNER, at_ms=AT_MS),
            PasswordSet(key="ola", password="scrypt$n=2$salt$hash"),
            CodeMade(key="ola", digest=b"digest", until_ms=AT_MS),
            RoleSet(key="per", role=Role.LOOK),
        ],
        inventory=InventoryChange(at_ms=AT_MS, inventory=Inventory(rooms={"loft": Room(key="loft", name="Loft")})),
        events=[
            SpoolEvent(
                spool="s1", at_s=AT_MS / 1000 - 60, entered_s=AT_MS / 1000, who="Kim", what=Moved(place="b1"),
                event_id=4,
            )
        ],
        figures=[
            OwnFigure(material="pla", figure="limit", value=0.2, who="Kim", why="tried", at_s=AT_MS / 1000)
        ],
        ovens=OvenChanges(
            records=[
                OvenRecord(kind=next(iter(RecordKind)), oven="o1", at_wall_s=AT_MS / 1000, what="It began.",
                           cycle="c1", rule=None, who=None)
            ],
            facts=[OvenFact(oven="o1", at_s=AT_MS / 1000, kind=FactKind.CUTOUT, value="fitted", who="Kim")],
        ),
        audit=[_entry(0)],
    )  # fmt: skip


def _lines(path):
    with closing(Reader(path)) as reader:
        return reader.audit(ALL)


def _fault(path, known=None):
    with closing(Reader(path)) as reader:
        return reader.audit_fault(known)


def _tampered(path, *statements):
    """As somebody does who opens the file: no trigger stands in the way."""
    with closing(sqlite3.connect(path)) as db:
        for name in ("audit_is_never_changed", "audit_is_never_deleted", "audit_only_grows"):
            db.execute(f"DROP TRIGGER IF EXISTS {name}")
        for sql, *values in statements:
            db.execute(sql, values)
        db.commit()


@pytest.fixture
def chain(tmp_path):
    """A file with a chain of six lines."""
    path = tmp_path / "site.db"
    with closing(Store(path, "lab")) as store:
        store.apply(Batch(audit=[_entry(number) for number in range(5)]))
    return path


def test_everything_done_has_its_line(store, database):
    store.apply(_full_batch())
    lines = _lines(database)
    assert lines[0].row.what == BEGINS
    assert [(line.row.kind, line.row.about, line.row.who) for line in lines[1:]] == [
        ("act", "Ola", "Kim"),
        ("act", "per", "monitor"),  # no act of the batch told of it
        ("inventory", "loft", "console"),
        ("history", "s1", "Kim"),
        ("figure", "pla", "Kim"),
        ("oven", "o1", "monitor"),
        ("oven", "o1", "Kim"),
        ("alarm", "humidity_high-b1", "Kim"),
    ]
    assert [line.seq for line in lines] == list(range(1, 10))
    assert _fault(database) is None


def test_no_secret_gets_into_the_log(store, database):
    store.apply(_full_batch())
    text = repr(_lines(database))
    assert "scrypt" not in text
    assert "digest'" not in text


def test_a_batch_that_is_tried_again_adds_nothing(store, database):
    """The commit may have been done although it was reported as failed."""
    store.apply(_full_batch())
    once = _lines(database)
    store.apply(_full_batch())
    assert _lines(database) == once
    assert _fault(database) is None


def test_old_and_new_of_an_inventory_are_kept(store, database):
    """A-37: never hides the earlier value."""
    spool = {"key": "s1", "name": "S", "material": "pla", "diameter_mm": 1.75}
    for at_ms, net_g in ((AT_MS, 1000.0), (AT_MS + 1, 750.0)):
        change = InventoryChange(at_ms=at_ms, inventory=Inventory(spools={"s1": Spool(**spool, net_g=net_g)}))
        store.apply(Batch(inventory=change))
    store.apply(Batch(inventory=InventoryChange(at_ms=AT_MS + 2, inventory=Inventory())))
    entered, changed, gone = _lines(database)[1:]
    assert entered.row.what == "spool entered"
    assert changed.row.detail == '{"new":{"net_g":750.0},"old":{"net_g":1000.0}}'
    assert gone.row.what == "spool taken out"
    assert '"net_g":750.0' in gone.row.detail


def test_what_is_too_long_or_no_text_holds_nothing_up(store, database):
    """A line that could not be written would stop every reading behind it."""
    odd = _entry(1, who="\ud800" * 300, what="x\0" * 3000, detail={"a": float("nan"), "b": "y" * 30_000})
    store.apply(Batch(audit=[odd, _entry(2, detail={"a": float("inf")})]))
    _, long, infinite = _lines(database)
    assert len(long.row.what) == 2000
    assert '"characters":30' in long.row.detail
    assert infinite.row.detail == '{"a":null}'
    assert _fault(database) is None


def test_lines_are_never_changed_or_deleted_and_come_at_the_end(chain):
    with closing(sqlite3.connect(chain)) as db:
        for sql in (
            "UPDATE audit SET who = 'nobody'",
            "DELETE FROM audit WHERE seq = 6",
            "INSERT OR REPLACE INTO audit SELECT * FROM audit WHERE seq = 3",
            "INSERT INTO audit SELECT site_id, 9, at_ms, quality, who, kind, about, what, detail, prev, hash"
            " FROM audit WHERE seq = 3",
        ):
            with pytest.raises(sqlite3.IntegrityError):
                db.execute(sql)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The bytes of a file with a chain, to tamper with again and again."""
    path = tmp_path_factory.mktemp("chain") / "site.db"
    with closing(Store(path, "lab")) as store:
        store.apply(_full_batch())
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode = DELETE").fetchall()
    return path


@settings(max_examples=120, deadline=None)
@given(seq=st.integers(1, 9), column=st.sampled_from(COLUMNS), number=st.integers(1, 2**40), text=st.text())
def test_any_change_of_any_field_of_any_line_is_found(whole, seq, column, number, text):
    path = whole.with_name("copy.db")
    path.write_bytes(whole.read_bytes())
    is_number = column in ("at_ms", "seq", "site_id")
    value = number + 100 if is_number else text.replace("\0", "").encode("utf-8", "ignore").decode()
    if column in ("prev", "hash"):
        value = f"{number:064x}"
    with closing(sqlite3.connect(path)) as db:
        old = db.execute(f"SELECT {column} FROM audit WHERE seq = ?", (seq,)).fetchone()[0]
        value = f"{value}." if value == old else value
        db.execute("PRAGMA ignore_check_constraints = ON")
        db.execute("DROP TRIGGER audit_is_never_changed")
        db.execute(f"UPDATE audit SET {column} = ? WHERE seq = ?", (value, seq))
        db.commit()
    found = _fault(path)
    assert found is not None
    assert f"line {seq} " in found


@pytest.mark.parametrize("seq", [1, 3, 6])
def test_a_line_that_is_gone_is_missed(chain, seq):
    """Also the last one: the head is kept beside the lines."""
    _tampered(chain, ("DELETE FROM audit WHERE seq = ?", seq))
    assert f"line {seq} of the log is missing" in _fault(chain)


def test_two_lines_in_each_others_place_are_found(chain):
    _tampered(
        chain,
        ("UPDATE audit SET seq = 99 WHERE seq = 3",),
        ("UPDATE audit SET seq = 3 WHERE seq = 4",),
        ("UPDATE audit SET seq = 4 WHERE seq = 99",),
    )
    assert _fault(chain) == "line 3 of the log was changed after it was written"


def test_a_log_cut_off_with_its_head_shows_against_what_was_put_out(chain):
    """What the chain alone cannot prove: that nobody wrote all of it anew, or cut it off."""
    with closing(Reader(chain)) as reader:
        head, line = reader.audit_head(), reader.audit(ALL)[4]
    assert _fault(chain, head) is None
    assert _fault(chain, AuditHead(seq=5, hash=line.hash)) is None
    assert "written anew" in _fault(chain, AuditHead(seq=5, hash="0" * 64))
    _tampered(
        chain,
        ("DELETE FROM audit WHERE seq = 6",),
        ("UPDATE audit_head SET seq = 5, hash = ?", line.hash),
    )
    assert _fault(chain) is None
    assert _fault(chain, head) == "line 6 of the log is missing: it was put out up to line 6"


def test_what_earlier_releases_kept_is_bound_in_as_it_stood(tmp_path):
    """It is not made into links after the fact: the first line says what there is, and a digest over it."""
    path, folder = tmp_path / "old.db", tmp_path / "schema"
    folder.mkdir()
    for file in sorted(SCHEMA_FOLDER.glob("*.sql"))[:12]:
        (folder / file.name).write_text(file.read_text())
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        migrate(db, path, folder)
        db.execute("INSERT INTO site (key, named) VALUES ('lab', 1)")
        db.execute("INSERT INTO act VALUES (NULL, 1, 5, 'Kim', 'moved', 's1', '')")
    with closing(Store(path, "lab")) as store:
        store.apply(Batch(acts=[Act(at_ms=AT_MS, person="Ola", what="moved", on_what="s1")]))
    first, second = _lines(path)
    assert '"acts":{"rows":1,' in first.row.detail
    assert second.row.who == "Ola"
    assert _fault(path) is None
    with closing(sqlite3.connect(path)) as db:
        db.execute("DROP TRIGGER act_is_never_changed")
        db.execute("UPDATE act SET person = 'nobody' WHERE act_id = 1")
        db.commit()
    assert "acts from before line 1 of the log were changed" in _fault(path)


def test_the_log_is_asked_by_kind_thing_person_and_time(store, database):
    store.apply(_full_batch())
    store.apply(Batch(audit=[_entry(5, who="Ola")]))
    with closing(Reader(database)) as reader:
        assert len(reader.audit(AuditFilter(kind=AuditKind.OVEN))) == 2
        assert [line.row.who for line in reader.audit(AuditFilter(about="humidity_high-b1"))] == [
            "Kim",
            "Ola",
        ]
        assert [line.seq for line in reader.audit(AuditFilter(who="Ola"))] == [10]
        assert [line.seq for line in reader.audit(AuditFilter(from_ms=AT_MS + 1))] == [10]
        assert [line.seq for line in reader.audit(ALL, before=4, limit=2)] == [3, 2]
        assert [line.seq for line in reader.audit(ALL, after=8)] == [9, 10]
        assert [line.row.who for line in reader.audit_about("humidity_high-b1", AT_MS, AT_MS + 1)] == ["Kim"]


def test_a_batch_that_fails_leaves_no_line(store, database):
    """A line without what it tells of would be a lie."""
    batch = _full_batch()
    batch.ovens.states["o1"] = None  # the column refuses it, after the lines were written
    with pytest.raises(StoreError):
        store.apply(batch)
    assert _lines(database) == ()
