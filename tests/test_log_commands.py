"""`check`, `backup` and `restore` at the command line, where the log of what was done is concerned."""

import json
import sqlite3
from contextlib import closing

import pytest

from monitor.cli import main
from monitor.model.audit import AuditEntry, AuditFilter, AuditKind
from monitor.model.batch import Batch
from monitor.store.reader import Reader
from monitor.store.store import Store


@pytest.fixture
def run(tmp_path, capsys):
    def call(*arguments, database="site.db"):
        code = main([*map(str, arguments), "--database", f"sqlite:///{tmp_path / database}"])
        out = capsys.readouterr()
        return code, out.out, out.err

    return call


@pytest.fixture
def site(tmp_path):
    path = tmp_path / "site.db"
    with closing(Store(path, "lab")) as store:
        entries = [
            AuditEntry(at_ms=number, who="Kim", kind=AuditKind.ACT, about="b1", what="moved")
            for number in range(3)
        ]
        store.apply(Batch(audit=entries))
    return path


def log_of(run, *more):
    """What `check` finds of the log; the other findings depend on the machine."""
    _, out, _ = run("check", "--json", *more)
    return next(found for found in json.loads(out)["findings"] if found["what"] == "log")


def tamper(path, sql):
    with closing(sqlite3.connect(path)) as db:
        for name in ("changed", "deleted"):
            db.execute(f"DROP TRIGGER audit_is_never_{name}")
        db.execute(sql)
        db.commit()


def test_check_goes_through_the_log_and_names_what_is_broken(run, site):
    found = log_of(run)
    assert found["ok"]
    assert found["log_head"].startswith("4:")
    assert log_of(run, "--log-head", found["log_head"])["ok"]
    assert not log_of(run, "--log-head", "4:" + "0" * 64)["ok"]
    tamper(site, "UPDATE audit SET what = 'looked' WHERE seq = 2")
    found = log_of(run)
    assert not found["ok"]
    assert "line 2 of the log was changed" in found["said"]
    assert run("check")[0] == 1


@pytest.mark.usefixtures("site")
def test_a_head_that_is_none_is_a_slip_of_the_pen(run):
    with pytest.raises(SystemExit) as left:
        run("check", "--log-head", "4:abc")
    assert left.value.code == 2


@pytest.mark.usefixtures("site")
def test_a_backup_is_checked_and_brought_back(run, tmp_path):
    copy, fresh = tmp_path / "copy.db", tmp_path / "fresh.db"
    assert "copy.db.sha256" in run("backup", copy)[2]
    code, out, _ = run("check", copy)
    assert (code, out.split()[:2]) == (0, ["ok", "backup:"])
    assert run("restore", copy, database="fresh.db")[0] == 0
    with closing(Reader(fresh)) as reader:
        assert reader.audit(AuditFilter())[-1].row.what == "restored a backup"


def test_a_backup_with_one_byte_changed_is_refused(run, site, tmp_path):
    copy = tmp_path / "copy.db"
    run("backup", copy)
    content = bytearray(copy.read_bytes())
    content[len(content) // 2] ^= 1
    copy.write_bytes(content)
    code, out, _ = run("check", copy)
    assert code == 1
    assert out.startswith("WRONG  backup:")
    before = site.read_bytes()
    code, _, said = run("restore", copy)
    assert code == 1
    assert "not as it was written" in said
    assert site.read_bytes() == before
