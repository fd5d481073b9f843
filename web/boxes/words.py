"""A box's answer in finished words: its desiccant, its tightness, what its lid costs, and what is wrong."""

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.alarms.wording import span
from monitor.library import Library
from monitor.model.answers import BoxAnswer, DesiccantAnswer, Diagnosis, Spread, TightnessAnswer
from web.boxes.figures import days, known, life, roughly
from web.inside import sentence
from web.present import ANY_PCT, Presenter, day, seconds

# By the cause that the estimate names.
CAUSES: Mapping[str, str] = {
    "desiccant_saturated": "The desiccant is full for what is inside.",
    "leak": "The box lets in more of the room's air than a shut box should.",
    "wet_contents": "Something inside gives off water.",
    "sensor_offset": "The sensor reads wrong.",
    "charge_too_small": "There is too little desiccant for this box.",
    "lid_open": "The lid is open.",
}
_LIKELY = ((0.95, "almost certainly"), (0.8, "very likely"), (0.6, "likely"), (0.5, "more likely than not"))
_TELLS = {
    "humidity": "Told from the humidity: the air over the desiccant shows how full it is.",
    "water let in": (
        "Reckoned from the water that was let in. This kind keeps the air equally dry until it is nearly"
        " full, so the humidity shows nothing until then; weighing the charge tells more."
    ),
}
_COLOUR = "Colour alone decides nothing: it turns gradually, and only above what filament asks for."
# Share used up to which the words hold.
_USED = (
    (0.1, "It is nearly fresh."),
    (0.4, "Some of it is used."),
    (0.6, "About half of it is used."),
    (0.85, "Most of it is used."),
)
# Changes of air an hour up to which the words hold: a gasketed case, a lid with clips, and from where on
# the estimate speaks of a leak.
_TIGHT = ((0.015, "Very tight."), (0.05, "Tight."), (0.15, "Not quite tight."))


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Plain words first, then figures as (name, words)."""

    plain: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    danger: str = ""
    fine: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One cause: how sure, what shows it, what to do."""

    cause: str
    likely: str
    evidence: str
    act: str


def findings(box: BoxAnswer, library: Library) -> tuple[Finding, ...]:
    """What is likely wrong; nobody is sent to an oven with what must not be heated."""
    refusal = _refusal(box.desiccant, library)
    return tuple(
        _finding(item, refusal if item.cause == "desiccant_saturated" else "") for item in box.diagnosis
    )


def _refusal(charge: DesiccantAnswer | None, library: Library) -> str:
    """Why a charge must not go into an oven; empty where it may."""
    kind = None if charge is None else library.desiccants.get(charge.kind)
    return "" if kind is None else kind.oven_refusal or ""


def _finding(item: Diagnosis, refusal: str) -> Finding:
    likely = next((words for least, words in _LIKELY if item.probability >= least), "possibly")
    share = "over 95" if item.probability > 0.95 else f"about {5 * round(20 * item.probability)}"
    return Finding(
        cause=CAUSES.get(item.cause) or sentence(item.cause.replace("_", " ")),
        likely=f"{likely}, {share}\N{NO-BREAK SPACE}%",
        evidence=sentence(item.evidence),
        act=f"Replace it. {refusal}" if refusal else sentence(item.advice),
    )


def desiccant(box: BoxAnswer, library: Library, present: Presenter) -> Section:
    """How full the charge is, how long it lasts, and what it is (P13)."""
    charge = box.desiccant
    if charge is None:
        return Section(plain=(sentence(box.desiccant_why),), facts=())
    return Section(
        plain=_plain(charge, library, present),
        facts=tuple(fact for fact in _facts(charge, library, present) if fact[1]),
        danger=_danger(charge, library),
        fine=_fine(charge),
    )


def kind_name(library: Library, key: str) -> str:
    """A desiccant by its name; one that the catalogue does not have, by its key."""
    kind = library.desiccants.get(key)
    return key.replace("_", " ") if kind is None else kind.name


def _danger(charge: DesiccantAnswer, library: Library) -> str:
    """Of its kind; why it must not be heated is said whatever the answer leaves out."""
    refusal, danger = _refusal(charge, library), sentence(charge.danger)
    return danger if not refusal or refusal.rstrip(".") in danger else f"{danger} {refusal}".strip()


def _plain(charge: DesiccantAnswer, library: Library, present: Presenter) -> tuple[str, ...]:
    if charge.used.p50 is None and charge.spent is None:
        return (f"How full it is cannot be told: {_clause(charge.used.why or charge.spent_why)}",)
    if charge.spent:
        since_s = seconds(charge.spent_since)
        since = "" if since_s is None else f", since {day(present.local(since_s))}"
        act = "replace it, and do not bake it" if _refusal(charge, library) else "replace it or bake it"
        return (f"Spent for what is inside{since}: {act}.",)
    words = []
    if charge.used.p50 is not None:
        used = charge.used.p50
        words.append(next((each for most, each in _USED if used < most), "Nearly all of it is used."))
    if charge.spent is None:
        words.append(f"Whether it is spent cannot be told: {_clause(charge.spent_why)}")
    elif charge.days_left.p50 is not None:
        words.append(f"It lasts for {days(charge.days_left)}.")
    else:
        words.append(f"How long it lasts cannot be told: {_clause(charge.days_left.why)}")
    return tuple(words)


def _facts(charge: DesiccantAnswer, library: Library, present: Presenter) -> list[tuple[str, str]]:
    settled, season = charge.settled_pct, charge.days_left_season
    return [
        ("Inside", f"{kind_name(library, charge.kind)}: {charge.dry_g:g} g dry"),
        ("Filled", _filled(charge, present)),
        ("Used up", _of(known(charge.used, " %", 100.0), "of what is useful here")),
        ("Water in it", known(charge.water_g, " g") if charge.water_g.p50 is not None else ""),
        ("Loading", _of(known(charge.loading_pct, " %"), "of its dry mass")),
        ("Settles at", "" if settled is None else _of(known(settled, " %RH"), "at 25 °C, once it is even")),
        ("Days left", "" if charge.spent or charge.days_left.p50 is None else days(charge.days_left)),
        ("As last year", "" if season is None or season.p50 is None else days(season)),
        ("For 30 days", _fill(charge.fill_g_30_days)),
        ("For 90 days", _fill(charge.fill_g_90_days)),
        ("Colour seen", sentence(charge.colour) if charge.colour else ""),
    ]  # fmt: skip


def _filled(charge: DesiccantAnswer, present: Presenter) -> str:
    at_s = seconds(charge.filled)
    where = "from the oven" if charge.regenerated else ""
    if at_s is None:
        return where
    moment = present.local(at_s)
    return f"{day(moment)} {moment.year}{', ' if where else ''}{where}"


def _fill(spread: Spread | None) -> str:
    if spread is None or spread.p50 is None:
        return ""
    return f"{known(spread, ' g')} fresh"


def _of(words: str, more: str) -> str:
    return "" if words == "not known" else f"{words} {more}"


def _fine(charge: DesiccantAnswer) -> tuple[str, ...]:
    said = [] if charge.tells_by is None else [_TELLS.get(charge.tells_by, sentence(charge.tells_by))]
    return (*said, _COLOUR) if charge.colour else tuple(said)


def lid(box: BoxAnswer, present: Presenter, now_s: float) -> Section:
    """What opening costs (P34)."""
    charge, times = box.desiccant, box.lid_openings_7d
    plain = []
    open_s = seconds(box.lid_open_since)
    if open_s is not None:
        plain.append(f"Open since {present.clock(open_s)}, {span(max(now_s - open_s, 0.0))} ago: shut it.")
    if times is None:
        plain.append(f"How often it was opened cannot be told: {_clause(box.lid_openings_7d_why)}")
    else:
        often = {0: "Not opened", 1: "Opened once"}.get(times, f"Opened {times} times")
        plain.append(f"{often} in the last 7 days{_together(charge, times)}.")
    return Section(plain=tuple(plain), facts=_opening(charge))


def _together(charge: DesiccantAnswer | None, times: int) -> str:
    if charge is None or charge.opening_g is None or times < 2:
        return ""
    water = roughly(times * charge.opening_g, " g")
    cost = (
        ""
        if charge.opening_days is None
        else f", {life(times * charge.opening_days)} of the desiccant's life"
    )
    return f": {water} of water in all{cost}"


def _opening(charge: DesiccantAnswer | None) -> tuple[tuple[str, str], ...]:
    if charge is None or charge.opening_g is None:
        return ()
    cost = "" if charge.opening_days is None else f", {life(charge.opening_days)} of the desiccant's life"
    return (("One opening", f"{roughly(charge.opening_g, ' g')} of water{cost}"),)


def tightness(told: TightnessAnswer) -> Section:
    """How tight the box is, shut."""
    changes, water = told.air_changes_per_h, told.water_g_per_day
    if changes.p50 is None:
        return Section(plain=(f"How tight it is cannot be told: {_clause(changes.why)}",), facts=())
    middle = changes.p50
    word = next((words for most, words in _TIGHT if middle < most), "Leaky.")
    facts = [
        ("Air changed", f"{known(changes, ' times', 24.0)} a day, {known(changes, '')} an hour"),
        ("Water let in", "" if water.p50 is None else f"{known(water, ' g')} a day"),
    ]
    return Section(plain=(word,), facts=tuple(fact for fact in facts if fact[1]))


def limit(box: BoxAnswer, library: Library) -> str:
    """Whose limit it is, or why there is none."""
    if box.limit_humidity_pct is None:
        return f"It has no limit: {_clause(box.limit_humidity_pct_why)}"
    material = library.materials.get(box.limit_material or "")
    if material is None or box.limit_humidity_pct >= ANY_PCT:
        return ""
    return f"The limit is that of {material.short_name}, the most demanding material inside."


def _clause(why: str | None) -> str:
    return f"{(why or 'nothing says so').rstrip('.')}."
