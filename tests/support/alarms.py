"""Rows, rules and states of alarms, as the tests need them."""

from monitor.alarms.events import Moment, Sampled
from monitor.alarms.state import Said, begin
from monitor.alarms.step import step
from monitor.model.alarm_row import AlarmClass, AlarmRow, Consequence
from monitor.model.hiding_rule import HidingRule
from monitor.model.message import Priority

START_S = 1_790_000_000.0
HOUR_S, DAY_S = 3_600.0, 86_400.0


def row(kind="humidity_high", **more):
    """A process alarm without delays that may be shelved, unless told otherwise."""
    plain = {
        "type": kind,
        "alarm_class": AlarmClass.PROCESS,
        "name": "Box too humid",
        "causes": ("spent desiccant",),
        "consequence": Consequence.SPOILED,
        "why": "What is inside takes up water.",
        "act": "Shut the lid.",
        "respond_s": 12 * HOUR_S,
        "set_point": "limit of the contents [%RH]",
        "basis": "the material's isotherm",
        "deadband": 2.0,
        "on_delay_s": 0.0,
        "off_delay_s": 0.0,
        "k": 1,
        "n": 1,
        "shelve_max_s": 7 * DAY_S,
        "test": "tests/alarms",
    }
    return AlarmRow(**(plain | more))


def safety_row(kind="oven_trip", **more):
    return row(
        kind,
        **(
            {
                "alarm_class": AlarmClass.SAFETY,
                "name": "Oven tripped",
                "consequence": Consequence.PERSON,
                "respond_s": HOUR_S,
                "latches": True,
                "shelve_max_s": 0.0,
            }
            | more
        ),
    )


LID_RULE = HidingRule(
    name="lid_open_hides_humidity",
    text="the lid is open",
    causes=("lid_open",),
    hides=("humidity_high",),
    same_place=True,
    max_s=2 * HOUR_S,
    settles_s=1_800.0,
)
BROKER_RULE = HidingRule(
    name="broker_hides_silence",
    text="the broker is away",
    causes=("broker_away",),
    hides=("reading_stale",),
    same_place=False,
    max_s=6 * HOUR_S,
    settles_s=1_800.0,
)
DRYING_RULE = HidingRule(
    name="drying_hides_temperature",
    text="a drying runs here",
    causes=("drying",),
    hides=("temperature_high",),
    same_place=True,
    max_s=24 * HOUR_S,
    settles_s=1_800.0,
)
RULES = {rule.name: rule for rule in (LID_RULE, BROKER_RULE, DRYING_RULE)}


class Bench:
    """One alarm stepped by hand."""

    def __init__(self, of=None, place="box-1"):
        self.row = of or row()
        self.state = begin(self.row.type, place)
        self.wall_s = START_S
        self.is_quiet = False
        self.effects = ()

    def step(self, event, elapsed_s=0.0):
        self.wall_s += elapsed_s
        moment = Moment(wall_s=self.wall_s, elapsed_s=elapsed_s, is_quiet=self.is_quiet)
        self.state, self.effects = step(self.state, event, self.row, moment)
        return self.state

    def sample(self, holds, covered_s=0.0, priority=Priority.MEDIUM, value=None, limit=None, sample=""):
        said = Said(value=value, limit=limit, what="It is so." if holds else "")
        event = Sampled(holds=holds, priority=priority, covered_s=covered_s, said=said, sample=sample)
        return self.step(event, covered_s)

    def tells(self):
        return [str(effect.kind) for effect in self.effects if hasattr(effect, "kind")]

    def notes(self):
        return [effect.what for effect in self.effects if hasattr(effect, "what")]
