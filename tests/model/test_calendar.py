"""C-22: numbers rise when something changed, nothing vanishes, and a trembling forecast is no change."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from monitor.model.calendar import CalendarEntry, EntryKind, renewed

NOW_MS = 1_800_000_000_000
NOW_S = NOW_MS / 1000.0
HOUR_S = 3_600.0


def entry(hours=48.0, **more):
    made = CalendarEntry(
        uid="desiccant-a@lab",
        kind=EntryKind.DESICCANT,
        begins_s=NOW_S + hours * HOUR_S,
        ends_s=NOW_S + (hours + 1.0) * HOUR_S,
        is_day=False,
        summary="Change it",
        description="d",
    )
    return replace(made, **more)


def given_out(*entries, kept=None, now_ms=NOW_MS):
    kept = dict(kept or {})
    changed = renewed(entries, kept, now_ms)
    kept.update({item.entry.uid: item for item in changed})
    return kept, changed


def test_the_same_again_is_no_change():
    kept, changed = given_out(entry())
    assert [item.sequence for item in changed] == [0]
    assert given_out(entry(), kept=kept)[1] == ()
    # Ten per cent of the time until then, and never less than half an hour.
    assert given_out(entry(51.0), kept=kept)[1] == ()
    assert given_out(entry(description="another band"), kept=kept)[1] == ()


def test_what_moved_has_the_next_number_and_the_time_of_its_change():
    kept, _ = given_out(entry())
    later_ms = NOW_MS + 60_000
    _, changed = given_out(entry(60.0), kept=kept, now_ms=later_ms)
    assert [(item.sequence, item.changed_ms) for item in changed] == [(1, later_ms)]
    _, renamed = given_out(entry(summary="Change that"), kept=kept)
    assert [item.sequence for item in renamed] == [1]


def test_what_is_off_is_cancelled_once_and_what_is_past_stays():
    kept, _ = given_out(entry())
    kept, changed = given_out(kept=kept)
    assert [(item.is_cancelled, item.sequence) for item in changed] == [(True, 1)]
    assert given_out(kept=kept)[1] == ()
    _, back = given_out(entry(), kept=kept)
    assert [(item.is_cancelled, item.sequence) for item in back] == [(False, 2)]
    over, _ = given_out(entry())
    assert given_out(kept=over, now_ms=NOW_MS + round(50 * HOUR_S * 1000))[1] == ()


@given(st.lists(st.one_of(st.none(), st.floats(1.0, 500.0)), min_size=1, max_size=30))
def test_numbers_only_ever_rise_and_nothing_is_forgotten(course):
    kept = {}
    for step, hours in enumerate(course):
        now_ms = NOW_MS + step * 1000
        before = kept
        kept, changed = given_out(*(() if hours is None else (entry(hours),)), kept=before, now_ms=now_ms)
        assert set(before) <= set(kept)
        for item in changed:
            old = before.get(item.entry.uid)
            assert item.sequence == (0 if old is None else old.sequence + 1)
            assert item.changed_ms == now_ms
