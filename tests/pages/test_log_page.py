"""A-37, C-21: the log of what was done, as owners read it and as programs take it along."""

import csv
import datetime as dt
import hashlib
import io
import json

import pytest
from support.documents import check as check_document
from support.sign_in import gate

from monitor.model.audit import AuditEntry, AuditKind
from monitor.model.people import Role
from web.openapi import DOCUMENT

AT_MS = 1_790_000_000_123


@pytest.fixture
def site(tmp_path):
    with gate(tmp_path) as made:
        yield made


@pytest.fixture
def owner(site):
    return site.client(site.make_owner())


def entry(number, **more):
    plain = {"at_ms": AT_MS + number, "who": "Kim", "kind": AuditKind.ALARM, "about": "humidity_high-crate"}
    return AuditEntry(
        **(plain | {"what": "acknowledged", "detail": {"place": "crate", "value": 31.5}} | more)
    )


def write(site, *entries):
    site.ask(lambda engine: engine.audit(*entries))


def asked(client, **args):
    return client.get("/api/v1/audit", query_string=args)


def lines_of(client, **args):
    answer = asked(client, **args)
    assert answer.status_code == 200, answer.text
    document = answer.get_json()
    check_document(document, DOCUMENT["components"]["schemas"]["LogPage"], DOCUMENT)
    return document["lines"]


def test_only_owners_read_it(site, owner):
    """It tells who did what when, of everybody."""
    other = site.client(site.add("Ilka", Role.DO))
    for path in ("/log", "/api/v1/audit", "/api/v1/audit?format=csv"):
        assert owner.get(path).status_code == 200
        assert other.get(path).status_code == 403
    assert site.client().get("/api/v1/audit").status_code == 401
    assert site.client().get("/log").status_code == 303


def test_the_page_shows_the_newest_and_leads_to_the_older(site, owner):
    write(site, *(entry(number, what=f"look {number}") for number in range(120)))
    page = owner.get("/log").text
    assert page.index("look 119") < page.index("look 118")
    assert "look 60" not in page
    head = site.site.reader.audit_head()
    assert str(head) in page
    older = owner.get("/log", query_string={"before": head.seq - 49})
    assert "look 69<" in older.text
    assert "look 119" not in older.text


def test_the_page_shows_what_was_asked_for(site, owner):
    write(site, entry(0), entry(1, who="<b>Ola</b>", about="o1", kind=AuditKind.OVEN, what="It began."))
    page = owner.get("/log", query_string={"kind": "oven"}).text
    assert "It began." in page
    assert "acknowledged" not in page
    assert "&lt;b&gt;Ola" in page
    assert "kind=oven" in page.partition("Take it along")[2]
    assert "Nothing in the log fits." in owner.get("/log?about=nowhere").text


def test_the_page_takes_times_of_the_site(site, owner):
    write(site, entry(0))
    assert "acknowledged" in owner.get("/log?from=2026-09-21T00:00").text
    assert "acknowledged" not in owner.get("/log?from=2026-09-22T00:00&kind=alarm").text
    wrong = owner.get("/log?from=yesterday")
    assert wrong.status_code == 400
    assert "write a date and a time" in wrong.text


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ({"kind": "gossip"}, "kind 'gossip' is unknown"),
        ({"format": "xls"}, "format 'xls' is unknown"),
        ({"limit": "0"}, "limit '0' is no whole number from 1 to 1000"),
        ({"limit": "2000"}, "limit"),
        ({"after": "-1"}, "after"),
        ({"after": "1" * 40}, "after"),
        ({"from": "soon"}, "from 'soon' is no time"),
        ({"from": "2026-01-02", "to": "2026-01-01"}, "from must be before to"),
        ({"who": "x" * 201}, "who must be text of at most 200 characters"),
    ],
)
def test_what_cannot_be_asked_is_said_in_a_sentence(owner, args, said):
    answer = asked(owner, **args)
    assert answer.status_code == 400
    assert said in answer.get_json(force=True)["detail"]


def test_json_comes_page_by_page(site, owner):
    write(site, *(entry(number) for number in range(7)))
    whole = lines_of(owner)
    first = asked(owner, limit=3).get_json()
    second = asked(owner, limit=1000, after=first["next_after"]).get_json()
    assert first["lines"] + second["lines"] == whole
    assert second["next_after"] is None
    assert first["head"] == f"{whole[-1]['seq']}:{whole[-1]['hash']}"
    assert [line["detail"]["value"] for line in lines_of(owner, kind="alarm")] == [31.5] * 7
    assert lines_of(owner, to="2026-09-21T16:13:20.124+02:00", kind="alarm")[-1]["at"].endswith("20.123Z")


def test_who_has_the_json_can_verify_it(site, owner):
    """Nothing but the export and the documented form is needed."""
    write(site, entry(0, detail={"b": [1, None], "ä": "ö"}))
    prev = "0" * 64
    for line in lines_of(owner):
        detail = json.dumps(line["detail"], sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        at_ms = round(1000 * _seconds(line["at"]))
        said = [line["seq"], at_ms, line["quality"], line["who"], line["kind"], line["about"], line["what"]]
        form = json.dumps([*said, detail, prev], separators=(",", ":"))
        assert line["prev"] == prev
        prev = hashlib.sha256(form.encode()).hexdigest()
        assert line["hash"] == prev


def _seconds(text):
    return dt.datetime.fromisoformat(text).timestamp()


def test_csv_has_a_header_and_no_formula(site, owner):
    """A cell that begins with = is run by a spreadsheet."""
    evil = ("=1+1", "+cmd|'/c calc'!A0", "-2", "@SUM(A1)", "\tx", '"a",\r\nb')
    write(site, *(entry(number, who=text, what=text) for number, text in enumerate(evil)))
    answer = asked(owner, format="csv", kind="alarm")
    assert answer.content_type == "text/csv; charset=utf-8"
    rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    assert [row["who"].removeprefix("'") for row in rows] == list(evil)
    assert not [row for row in rows if row["what"][0] in "=+-@\t"]
    assert rows[0]["time_utc"] == "2026-09-21T14:13:20.123Z"


def test_cloud_events_prove_that_none_is_missing(site, owner):
    """C-21."""
    write(site, *(entry(number) for number in range(2500)))
    answer = asked(owner, format="cloudevents")
    assert answer.content_type == "application/cloudevents-batch+json"
    events = json.loads(answer.text)
    assert [int(event["sequence"]) for event in events] == list(range(1, len(events) + 1))
    assert sorted(event["sequence"] for event in events) == [event["sequence"] for event in events]
    assert len({(event["source"], event["id"]) for event in events}) == len(events) > 2500
    last = events[-1]
    assert {name: last[name] for name in ("specversion", "type", "subject", "time")} == {
        "specversion": "1.0",
        "type": "sorbwatch.log.alarm",
        "subject": "humidity_high-crate",
        "time": "2026-09-21T14:13:22.622Z",
    }
    assert last["data"]["detail"] == {"place": "crate", "value": 31.5}
    assert "subject" not in events[0]  # an empty one is not allowed
    assert json.loads(asked(owner, format="cloudevents", about="nobody").text) == []


def test_an_export_goes_no_further_than_asked(site, owner):
    write(site, *(entry(number) for number in range(30)))
    rows = asked(owner, format="csv", after=5, limit=4).text.splitlines()
    assert [row.partition(",")[0] for row in rows] == ["seq", "6", "7", "8", "9"]
