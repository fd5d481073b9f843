"""Boxes in every state that their pages must be honest about, without a database."""

from dataclasses import replace

from support.pages import NOW_S, charge, spread
from support.spools import SPOOLS, FakeSpools

from monitor.errors import BadInputError
from monitor.model.answers import (
    BoxCourse,
    BoxMark,
    BoxPoint,
    Diagnosis,
    Question,
    TightnessAnswer,
    unknown,
)
from monitor.model.box_event import BoxHistory
from monitor.service.air import rfc3339

DAY_S = 86_400.0
ASKED_S = NOW_S - 3 * DAY_S - 0.25
NOT_KNOWN = "its room has no sensor"
RICH = replace(
    charge(False, spread(12.0, 21.0, 40.0)),
    spent=False,
    filled=rfc3339(NOW_S - 40 * DAY_S),
    regenerated=True,
    tells_by="humidity",
    settled_pct=spread(9.0, 11.0, 14.0),
    days_left_season=spread(30.0, 55.0, 90.0),
    fill_g_30_days=spread(60.0, 85.0, 130.0),
    fill_g_90_days=spread(180.0, 250.0, 400.0),
    opening_g=0.12,
    opening_days=0.3,
    colour="on 20 Nov the beads were turning",
)
SIEVE = replace(
    charge(None, unknown("the water let in is not known well enough")),
    kind="mol_sieve_3a",
    spent_why="the water let in is not known well enough",
    tells_by="water let in",
    danger="water on dry molecular sieve boils",
)
BLUE = replace(
    charge(True, spread(0.0, 0.0, 0.0)), kind="silica_gel_blue_cobalt", spent_since=rfc3339(NOW_S - 6 * DAY_S)
)
DARK = replace(
    charge(None, unknown(NOT_KNOWN)), loading_pct=unknown(NOT_KNOWN), used=unknown(NOT_KNOWN), water_g=unknown(NOT_KNOWN),
    spent_why=NOT_KNOWN,
)  # fmt: skip
# By box: members that differ from the plain answer.
STATES = {
    "anvil": {
        "desiccant": RICH,
        "estimate_at": rfc3339(NOW_S - 600),
        "questions": (
            Question(
                at=rfc3339(ASKED_S), kind="desiccant_changed",
                words="the readings say that the desiccant was changed on 22 Nov about 10:46, and nobody entered it",
            ),
        ),
        "diagnosis": (
            Diagnosis(cause="leak", probability=0.83, advice="Check the seal.", evidence="Its air changes 4 times a day."),
            Diagnosis(cause="desiccant_saturated", probability=0.55, advice="Bake it.", evidence="It settles at 11 %RH."),
        ),
        "missing": ("The volume of the box is assumed: measure it.",),
    },
    "bobbin": {"desiccant": SIEVE},
    "chisel": {"desiccant": BLUE, "lid_open_since": rfc3339(NOW_S - 2 * 3600.0)},
    "dowel": {
        "desiccant": DARK,
        "tightness": TightnessAnswer(air_changes_per_h=unknown(NOT_KNOWN), water_g_per_day=unknown(NOT_KNOWN)),
        "lid_openings_7d": None,
        "lid_openings_7d_why": NOT_KNOWN,
        "questions": (
            Question(at=rfc3339(ASKED_S), kind="contents_changed", words="something was put in or taken out on 22 Nov"),
        ),
    },
    "easel": {"desiccant": replace(RICH, days_left=spread(730.0, 730.0, 730.0), regenerated=False, filled=None)},
}  # fmt: skip
KEYS = ("anvil", "bobbin", "chisel", "dowel", "easel", "file", "gauge", "hammer", "inkstone", "jig")


def course_of(key, from_s, to_s):
    """A charge that was changed ten days ago and fills up, known in the past and ahead."""
    if key != "anvil":
        return BoxCourse(past=(), ahead=(), marks=(), limit_loading_pct=None)
    step_s = 6 * 3600.0
    past = [NOW_S - step_s * n for n in range(170, 0, -1)]
    ahead = [NOW_S + step_s * n for n in range(480)]
    return BoxCourse(
        past=tuple(
            BoxPoint(at_s=at_s, loading_pct=spread(middle - 2.0, middle, middle + 2.5))
            for at_s in past
            if from_s <= at_s <= to_s
            for middle in [_loading(at_s)]
        ),
        ahead=tuple(
            BoxPoint(
                at_s=at_s,
                loading_pct=spread(20.5 + 0.2 * days, 20.5 + 0.35 * days, 20.5 + 0.6 * days),
                humidity_pct=spread(11.0 + 0.1 * days, 11.6 + 0.5 * days, 12.0 + 0.9 * days),
            )
            for at_s in ahead
            for days in [(at_s - NOW_S) / DAY_S]
            if at_s <= to_s
        ),
        marks=(
            BoxMark(at_s=NOW_S - 10 * DAY_S, kind="recharged", words="desiccant changed", is_told=True, event_id=1),
            BoxMark(at_s=NOW_S - 3 * DAY_S, kind="desiccant_changed", words="the desiccant was changed", is_told=False),
            BoxMark(at_s=NOW_S - 9 * 3600.0, kind="lid_opened", words="lid opened, 0.1 g let in", is_told=False),
            BoxMark(at_s=NOW_S - 3 * 3600.0, kind="lid_opened", words="lid opened, 0.1 g let in", is_told=False),
        ),
        limit_loading_pct=27.3,
    )  # fmt: skip


def _loading(at_s):
    days = (NOW_S - at_s) / DAY_S
    return 20.5 - 0.8 * days if days < 10.0 else 26.0 - 0.2 * (days - 10.0)


class FakeBoxes(FakeSpools):
    """Answers and takes what the page of a box asks and tells; `noted` is what was written down of boxes."""

    def __init__(self, spools=SPOOLS, zone="Europe/Berlin"):
        super().__init__(spools, zone)
        self.noted = []
        self.states = dict(STATES)

    def _box(self, row, inside):
        return replace(super()._box(row, inside), **self.states.get(row[0], {}))

    def box_history(self, key):
        if super().box_history(key) is None:
            return None
        return BoxHistory(versions=(), events=tuple(event for event in self.noted if event.box == key))

    def box_course(self, key, from_s, to_s):
        return course_of(key, from_s, to_s)

    def add_box_event(self, event):
        """As the service's changes: refuses, or gives the record's number."""
        if self.refusal:
            raise BadInputError(self.refusal)
        number = len(self.noted) + 1
        self.noted.append(replace(event, event_id=number))
        self.changed()
        return number
