"""Each row of the alarm table raised once, from what is published on the broker to a message at a receiver.

One site, one broker, one service in this process with a clock that is moved; see `support.alarm_wire`. Readings,
presence and states of ovens go over the wire. Not on the wire, and so put in where it happens:

- sensor_check_overdue, oven_proof_overdue: what people enter, by the acts of the pages; then the clock.
- sensor_misplaced: where the sensor lay and stays, by the act of the page; what it read there is on the wire.
- database_trouble: another program holds the file; the message leaves when it can be written again.
- delivery_failing: a receiver that answers 500 to a test message.
- disk_low: what the operating system says of the card.
- supervision_trouble: an exception where the supervision asks for the site of an oven.
- clock_wrong: the wall clock is set back. records_broken: a line is changed in the file by another program,
  and the walk through the log, due once a day, is done at once.
- broker_away: the broker is stopped; what it keeps of the alarm is looked at when it is back.
"""

import pytest
from support.alarm_causes import CASES
from support.alarm_past import DAYS, calm, inventory
from support.alarm_wire import WireSite

from monitor.library.alarm_table import load_alarm_table

pytestmark = [
    pytest.mark.broker,
    pytest.mark.whole,
    pytest.mark.filterwarnings("default"),  # the library's own warnings are not ours to mend
]

ROWS = load_alarm_table().rows


@pytest.fixture(scope="module")
def raised(tmp_path_factory):
    """By kind: what was heard, or why it was not. All cases in their order, on one site and one broker."""
    found = {}
    with (
        pytest.MonkeyPatch.context() as patch,
        WireSite(tmp_path_factory.mktemp("alarms"), patch) as site,
    ):
        site.inventory = inventory()
        site.load(site.inventory)
        calm(site)
        site.clock.ahead_s += DAYS * 86_400.0
        site.look()
        for case in CASES:
            try:
                found[case.kind] = site.told(case)
            except Exception as error:  # of one row: the others are raised all the same
                found[case.kind] = error
    return found


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.kind)
def test_a_row_of_the_table_is_raised_from_the_broker_to_the_receiver(raised, case):
    """A-29: the message says what and where, and what to do; the broker keeps the alarm as active."""
    heard = raised[case.kind]
    if isinstance(heard, Exception):
        raise heard
    kept = heard.retained
    assert kept is not None
    assert (kept["type"], kept["place"], kept["state"]) == (case.kind, case.place, "unack")
    assert kept["condition"] is True
    assert case.words in heard.text
    assert kept["act"] in heard.text or case.is_gathered


def test_every_row_has_a_case():
    """A row that is added to the table needs one here; none is left out."""
    kinds = [case.kind for case in CASES]
    assert len(kinds) == len(set(kinds))
    assert {*kinds} == ROWS.keys()
