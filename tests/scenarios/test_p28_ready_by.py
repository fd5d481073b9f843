"""P28: I want to print at 18:00 tomorrow, what do I start and when? From the question to heat (D-11, B-13)."""

import datetime as dt
import re
from html import unescape

from support.oven_site import OVEN, spool
from support.planned_pages import Pages, text_of
from support.planned_site import planned_site

DAY_S = 86_400.0


def local(at_s):
    return dt.datetime.fromtimestamp(at_s, dt.UTC)


def test_p28_from_the_question_to_heat(tmp_path):
    """P28: plan, accept, notice when due, arm and confirm, started; nothing heats before."""
    with planned_site(tmp_path, spool("grey", "petg", place=OVEN, reel="pc", start="sealed_dry")) as made:
        site, pages = made.site, Pages(made)
        due = (local(site.clock.wall) + dt.timedelta(days=1)).replace(hour=18, minute=0, second=0)
        # What do I start, and when?
        answer = pages.page(f"/ready?spool1=grey&due1={due:%Y-%m-%dT%H:%M}")
        assert "All of it is ready in time." in text_of(answer), text_of(answer)
        link = unescape(re.search(r'href="([^"]+start_at=[^"]+)#later"', answer)[1])
        assert "Plan this start for" in text_of(answer)
        # Accept it: exactly what is shown.
        plan = pages.page(link)
        assert "Or start it later" in plan
        start_at = re.search(r'name="start_at" required value="([^"]+)"', plan)[1]
        sent = pages.fields(plan, f"/ovens/{OVEN}/later") | {"start_at": start_at}
        response = pages.send(f"/ovens/{OVEN}/later", sent)
        assert (response.status_code, response.headers["Location"]) == (303, f"/ovens/{OVEN}#planned")
        (row,) = made.starts.listed()
        begins = dt.datetime.fromisoformat(start_at).replace(tzinfo=dt.UTC).timestamp()
        assert (row.start_s, row.due_s, row.who) == (begins, due.timestamp(), "Mira")
        assert row.setpoint_c == float(sent["setpoint_c"][0])
        assert row.start_s + row.duration_s < due.timestamp()
        for path in (f"/ovens/{OVEN}", "/ready"):
            assert f"Planned starts ◆ {local(begins):%a}" not in pages.text(path)
            assert f"grey at {row.setpoint_c:g} °C for" in pages.text(path)
        # Its time comes; nobody has armed the oven.
        made.until(row.number)
        made.starts.look()
        assert made.kinds() == ["start_now"]
        assert not site.rig.is_heated
        waits = f"The drying planned for {local(begins):%H:%M} in Kiln waits: confirm now."
        assert waits in pages.text("/")
        shown = pages.page(f"/ovens/{OVEN}")
        assert "It waits for somebody." in text_of(shown)
        again = unescape(re.search(r'href="([^"]+)#start">Confirm now', shown)[1])
        # Somebody looks, arms it and confirms.
        site.arm()
        confirm = pages.fields(pages.page(again), f"/ovens/{OVEN}/start")
        response = pages.send(f"/ovens/{OVEN}/start", confirm)
        assert response.status_code == 303, text_of(response.get_data(as_text=True))
        made.starts.look()  # as the timer does at once
        assert made.state(row.number) == "started"
        assert made.starts.listed() == ()
        site.run(600.0)
        assert site.look().phase in ("heating", "drying")
        assert waits not in pages.text("/")


def test_p28_a_second_thought_withdraws_it(tmp_path):
    """Withdrawn on the list, it is over; a press on an old page says so."""
    with planned_site(tmp_path) as made:
        pages, number = Pages(made), made.plan()
        sent = pages.fields(pages.page("/ready"), f"/ready/{number}/withdraw")
        assert pages.send(f"/ready/{number}/withdraw", sent).status_code == 303
        assert made.state(number) == "withdrawn"
        assert pages.send(f"/ready/{number}/withdraw", sent).status_code == 409


def test_p28_what_changed_while_the_page_was_read_is_not_planned(tmp_path):
    """B-10: what is sent must be what the plan says now; a time that is none is refused by its name."""
    with planned_site(tmp_path) as made:
        pages = Pages(made)
        plan = pages.page(f"/ovens/{OVEN}/dry?spool=grey")
        at = f"{local(made.site.clock.wall + DAY_S):%Y-%m-%dT%H:%M}"
        sent = pages.fields(plan, f"/ovens/{OVEN}/later") | {"start_at": at}
        for change, said in (
            ({"setpoint_c": "70"}, "70 °C was sent"),
            ({"start_at": "soon"}, "The time to start is 'soon'"),
            ({"start_at": "2001-01-01T10:00"}, "must lie ahead"),
            ({"start_at": ""}, "The time to start is missing"),
            ({"limited_by": "the moon"}, "What limits it is grey now"),
            ({"spool": ["nobody"]}, "is not in the inventory"),
            ({"shown_s": "1"}, "The page is too old."),
            ({"who": ""}, "Who must be text"),
        ):
            response = pages.send(f"/ovens/{OVEN}/later", sent | change)
            assert response.status_code == 409, change
            assert said in text_of(response.get_data(as_text=True)), change
        assert made.starts.listed() == ()
