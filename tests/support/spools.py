"""Spools in every state that their pages must be honest about, without a database."""

from dataclasses import replace

from support.pages import NOW_S, FakeQueries

from monitor.errors import BadInputError
from monitor.model.answers import ProfilePoint, SpoolAccount, SpoolAnswer, Spread, StayAnswer, unknown
from monitor.model.inventory import Inventory, Spool
from monitor.model.spool_event import Checkpoint, SpoolHistory
from monitor.service.air import rfc3339

DAY_S = 86_400.0
DARK = "its past is still being worked out"
# A profile from the surface inwards: dry outside, wetter towards the hub.
RISING = tuple((0.001 + 0.004 * n, 0.02 + 0.006 * n) for n in range(10))


def about(middle):
    return Spread(p10=0.8 * middle, p50=middle, p90=1.3 * middle)


def stay(place, days_ago, days, *, ends=True, **members):
    begin_s = NOW_S - days_ago * DAY_S
    usual = {"is_sealed": False, "is_hot": False, "gained_g": 0.31, "equivalent_pct": 21.4, "worst_pct": 33.0}
    return StayAnswer(
        place=place,
        begin=rfc3339(begin_s),
        end=rfc3339(begin_s + days * DAY_S) if ends else None,
        hours=24.0 * days,
        **(usual | {"unmeasured_h": 0.0} | members),
    )


ACCOUNT = SpoolAccount(
    reset=None, partly_reset=None, dryings=0, hot_h=0.0, assumed_h=0.0, weighing=None, signs=None,
    stays=(stay("chisel", 12.0, 12.0, ends=False, equivalent_pct=None),),
)  # fmt: skip
BUSY = SpoolAccount(
    reset=rfc3339(NOW_S - 9 * DAY_S), partly_reset=rfc3339(NOW_S - 2 * DAY_S), dryings=3, hot_h=17.5, assumed_h=7.0,
    weighing="It holds about 0.4 g of water, give or take 1.2 g: this cannot tell. A scale that shows 0.1 g would.",
    signs="Snapping comes from ageing: drying does not repair it.",
    stays=(
        stay("loft", 14.0, 4.8),
        stay(None, 9.2, 0.2, is_hot=True, gained_g=-1.42, worst_pct=4.0),
        stay("anvil", 9.0, 6.0, is_sealed=True, gained_g=0.0, equivalent_pct=None, worst_pct=None),
        stay("kiln", 3.0, 1.0, is_hot=True, gained_g=-0.2),
        stay("file", 2.0, 2.0, ends=False, equivalent_pct=None, unmeasured_h=7.0),
    ),
)  # fmt: skip


def answer(key, outer, verdict, **members):
    """A spool of PETG (limit 0.04 %, prints look right below 0.1 %) that holds so much."""
    usual = {
        "name": key.replace("-", " ").capitalize(), "material": "petg", "place": "chisel", "moisture_pct": about(outer),
        "outer_pct": about(outer), "limit_pct": 0.04, "looser_limit_pct": 0.1, "heading_for_pct": 0.03, "length_m": 310.0,
        "dry_length_m": Spread(p10=310.0, p50=310.0, p90=310.0), "left_g": 940.0, "water_g": about(0.5), "exposure_h": 31.5,
        "profile": tuple(ProfilePoint(depth_m=depth, moisture_pct=outer) for depth, _ in RISING), "trend": "pause",
        "trend_why": "Its place keeps it as it is.", "verdict_why": f"Why {key} is {verdict}.", "account": ACCOUNT,
        "reasons": {"moisture_pct": "Followed through the air of its places.", "verdict": f"Why {key} is {verdict}."},
        "use_before_why": "it may be over its limit already",
    }  # fmt: skip
    return SpoolAnswer(key=key, verdict=verdict, **(usual | members))


NONE_OF_IT = Spread(p10=0.0, p50=0.0, p90=0.0)
SPOOLS = (
    answer("calm", 0.01, "ready", exposure_h=0.0, use_before_why="not within 90 days"),
    answer("bagged", 0.012, "ready", trend="sealed", trend_why="Sealed: its water stays as it is.", place="anvil"),
    answer("far-off", 0.02, "ready", use_before=rfc3339(NOW_S + 40 * DAY_S), trend="run"),
    answer("soon", 0.03, "ready", use_before=rfc3339(NOW_S + 1.5 * DAY_S), trend="run", heading_for_pct=0.09),
    answer("sooner", 0.03, "ready", use_before=rfc3339(NOW_S + 1800), trend="run", heading_for_pct=0.09, place="loft"),
    answer("soaked", 0.3, "dry_first", dry_length_m=NONE_OF_IT, trend="run", heading_for_pct=0.31, account=BUSY),
    answer("weak", 0.06, "dry_first", dry_length_m=NONE_OF_IT, trend="recover", place="file", exposure_h=300.0),
    answer("wet-core", 0.02, "dry_first", dry_length_m=Spread(p10=90.0, p50=120.0, p90=160.0), moisture_pct=about(0.05),
           profile=tuple(ProfilePoint(depth_m=depth, moisture_pct=water) for depth, water in RISING)),
    answer("doubtful", 0.038, "not_sure", place="hammer"),
    answer("lost", 0.039, "not_sure", place=None),
    answer("gone", 9.0, "damaged", dry_length_m=NONE_OF_IT, looser_limit_pct=None, use_before_why="it is damaged"),
    answer("bone", 4e-06, "ready", place="kiln", trend="recover", heading_for_pct=3e-07),
    SpoolAnswer(
        key="dark", name="Dark <b>horse</b>", material="pa6", place="inkstone", moisture_pct=unknown(DARK),
        outer_pct=unknown(DARK), limit_pct=0.2, heading_for_pct=None, heading_for_pct_why=DARK, length_m=None,
        length_m_why=DARK, dry_length_m=unknown(DARK), verdict="not_sure", verdict_why=DARK, use_before_why=DARK,
        exposure_h_why=DARK,
    ),
    SpoolAnswer(
        key="bare", name="Bare", material="unknown", place="no-longer-there", moisture_pct=unknown(DARK),
        outer_pct=unknown(DARK), limit_pct=None, limit_pct_why="nobody named it", heading_for_pct=None, length_m=None,
        dry_length_m=unknown(DARK), verdict="not_sure",
    ),
)  # fmt: skip
KEYS = tuple(each.key for each in SPOOLS)


class FakeSpools(FakeQueries):
    """Answers and takes what the pages of spools ask and tell; `told` is what was written down."""

    def __init__(self, spools=SPOOLS, zone="Europe/Berlin"):
        super().__init__(zone)
        self.answers = spools
        self.told = []
        self.refusal = None

    def spools(self):
        return self.answers

    def inventory(self):
        kept = {
            each.key: Spool(
                key=each.key, name=each.name, material=each.material, diameter_mm=1.75, net_g=1000.0, place=each.place,
                reel="card", reel_g=182.0 if each.key == "calm" else None, start="open", since_s=NOW_S - 30 * DAY_S,
            )
            for each in self.answers
        }  # fmt: skip
        around = super().inventory()
        return Inventory(rooms=around.rooms, boxes=around.boxes, ovens=around.ovens, spools=kept)

    def spool_history(self, key):
        if key not in {each.key for each in self.answers}:
            return None
        return SpoolHistory(versions=(), events=tuple(event for event in self.told if event.spool == key))

    def spool_course(self, key, from_s, to_s):
        water = next(each.outer_pct.p50 for each in self.answers if each.key == key)
        if water is None:
            return ()
        times = (NOW_S - 6 * 3600.0 * number for number in range(56, 0, -1))  # a fortnight
        band = (0.5 * water, 0.7 * water, 0.9 * water)
        return tuple(
            Checkpoint(spool=key, at_ms=round(1000 * at_s), content=b"", mean_pct=band, outer_pct=band)
            for at_s in times
            if from_s <= at_s <= to_s
        )

    def add_event(self, event):
        """As the service's changes: refuses, or gives the record's number."""
        if self.refusal:
            raise BadInputError(self.refusal)
        number = len(self.told) + 1
        self.told.append(replace(event, event_id=number))
        return number
