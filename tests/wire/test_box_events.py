"""Box events as JSON: what is written is read back, what cannot be is refused by name."""

import json

import pytest
from support.boxes import NOW_S, course_of
from support.documents import check as check_document

from monitor.errors import BadInputError
from monitor.model.box_event import (
    BoxEvent,
    ChargeWeighed,
    Colour,
    ColourSeen,
    NothingDone,
    Recharged,
)
from monitor.model.records import Withdrawn
from monitor.wire.box_events import dump_box_course, parse_box_event
from monitor.wire.records import dump_record
from web.openapi import DOCUMENT

WHATS = (
    Recharged(desiccant="silica_gel_orange", dry_g=200.5, loading_pct=1.5, is_regenerated=True),
    Recharged(desiccant="mol_sieve_3a", dry_g=50.0),
    ChargeWeighed(mass_g=231.4, resolution_g=0.1),
    ColourSeen(colour=Colour.TURNING),
    NothingDone(),
    Withdrawn(why="that was another box"),
)


def parse(document):
    content = document if isinstance(document, bytes) else json.dumps(document).encode()
    return parse_box_event("anvil", content, NOW_S)


@pytest.mark.parametrize("what", WHATS, ids=lambda what: type(what).__name__)
def test_what_the_api_shows_is_what_it_takes(what):
    """One shape both ways: a program can move records from one site to another."""
    event = BoxEvent(
        box="anvil", at_s=NOW_S - 60.0, entered_s=NOW_S, who="Mira", what=what, event_id=7, replaces=3
    )
    shown = dump_record(event)
    check_document(shown, {"$ref": "#/components/schemas/BoxRecord"}, DOCUMENT)
    sent = {name: value for name, value in shown.items() if name not in ("event_id", "entered")}
    taken = parse(sent)
    assert (taken.what, taken.at_s, taken.who, taken.replaces) == (what, NOW_S - 60.0, "Mira", 3)


def test_the_document_describes_every_kind_and_member():
    """The OpenAPI document is the contract: what it does not name is not taken, and the reverse."""
    described = {
        each["properties"]["kind"]["const"]: each
        for each in DOCUMENT["components"]["schemas"]["BoxEvent"]["oneOf"]
    }
    assert set(described) == {what.kind for what in WHATS}
    for what in WHATS:
        shown = dump_record(BoxEvent(box="a", at_s=NOW_S, entered_s=NOW_S, who="M", what=what))
        members = set(shown) - {"event_id", "entered"}
        assert members == set(described[what.kind]["properties"]), what.kind


def test_without_a_time_it_was_just_now_and_without_a_zone_it_is_utc():
    """A script need not carry a clock; a time that names no zone must not depend on the board's."""
    assert parse({"kind": "colour", "who": "Mira", "colour": "dry"}).at_s == NOW_S
    assert (
        parse({"kind": "colour", "who": "Mira", "colour": "dry", "at": "2026-11-25T08:00:00"}).at_s
        == 1795593600.0
    )


@pytest.mark.parametrize(
    ("document", "named"),
    [
        (b"", "cannot be read"),
        (b"[" * 5000, "cannot be read"),
        (b'{"x":' + b"[" * 8000, "nested too deeply"),
        (b'{"kind":"recharged","who":"\xff"}', "cannot be read"),
        (b"x" * 9000, "at most 8192 bytes"),
        ({"kind": "recharged", "who": "M", "dry_g": 200}, "`desiccant`"),
        ({"kind": "recharged", "who": "M", "desiccant": "../etc", "dry_g": 200}, "$.desiccant"),
        ({"kind": "recharged", "who": "M", "desiccant": "x", "dry_g": 0}, "$.dry_g"),
        ({"kind": "recharged", "who": "M", "desiccant": "x", "dry_g": "200"}, "$.dry_g"),
        (b'{"kind":"recharged","who":"M","desiccant":"x","dry_g":1e999}', "$.dry_g"),
        (b'{"kind":"recharged","who":"M","desiccant":"x","dry_g":NaN}', "cannot be read"),
        ({"kind": "recharged", "who": "M", "desiccant": "x", "dry_g": 9, "loading_pct": -1}, "$.loading_pct"),
        ({"kind": "recharged", "who": "M", "desiccant": "x", "dry_g": 9, "is_regenerated": "no"}, "$.is_regenerated"),
        ({"kind": "weighed", "who": "M", "mass_g": 200, "resolution_g": 0}, "$.resolution_g"),
        ({"kind": "colour", "who": "M", "colour": "mauve"}, "$.colour"),
        ({"kind": "colour", "who": "M", "colour": "dry", "note": "x"}, "`note`"),
        ({"kind": "nothing_done", "who": "M"}, "at is missing"),
        ({"kind": "withdrawn", "who": "M", "why": ""}, "$.why"),
        ({"kind": "withdrawn", "who": "x" * 201, "why": "y"}, "$.who"),
        ({"kind": "moved", "who": "M", "place": "loft"}, "$.kind"),
        ({"kind": "weighed", "who": "M", "mass_g": 2, "resolution_g": 1, "replaces": 1.5}, "$.replaces"),
        ({"kind": "weighed", "who": "M", "mass_g": 2, "resolution_g": 1, "at": "noon"}, "$.at"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name(document, named):
    """Input is bounded and validated at the edge; one sentence, one line."""
    with pytest.raises(BadInputError) as refused:
        parse(document)
    assert named in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_course_has_its_times_as_all_answers_do():
    """Contract: times in JSON are RFC 3339 strings."""
    shown = dump_box_course(course_of("anvil", NOW_S - 86_400.0, NOW_S + 86_400.0))
    check_document(shown, {"$ref": "#/components/schemas/BoxCourse"}, DOCUMENT)
    assert [point["humidity_pct"] for point in shown["past"]] == [None] * 4
    assert shown["ahead"][0]["at"] == "2026-11-25T09:46:40Z"
    assert shown["ahead"][0]["humidity_pct"] == {"p10": 11.0, "p50": 11.6, "p90": 12.0}
    assert shown["marks"][0]["is_told"] is True
