"""Advice on a bag without a sensor: film, desiccant and contents looked up, the air of a room, the answer."""

import datetime as dt
import math
import statistics
import zoneinfo

from monitor.errors import BadInputError, FieldError
from monitor.estimate import bag as estimate
from monitor.estimate.bag import Bag, Card, Case
from monitor.estimate.box_forecast import LONGEST_DAYS
from monitor.library import Library, limit_relative_humidity
from monitor.library.enclosures import load_enclosures
from monitor.model.bag import (
    BagAir,
    BagAnswer,
    BagWish,
    CardAnswer,
    CardReading,
    ChargeState,
    Closure,
    Contents,
)
from monitor.model.catalogue import DesiccantKind, Material
from monitor.physics.isotherm import desiccant_loading
from monitor.physics.psychrometrics import saturated_vapour_kg_m3, vapour_kg_m3
from monitor.service import room_past
from monitor.service.bag_words import cautions, leaked_words
from monitor.service.queries import Queries

_MONTH_DAYS, _HALF_YEAR_DAYS, _YEAR_DAYS = 30, 183.0, 365.0
_LEAST_MONTH_HOURS = 48
_G = 1000.0
# Name of the field, its member, lowest and highest, unit.
_RANGES = (
    ("width-cm", "width_cm", 5.0, 150.0, "cm"),
    ("length-cm", "length_cm", 5.0, 150.0, "cm"),
    ("dry-g", "dry_g", 1.0, 5000.0, "g"),
    ("air-l", "air_l", 0.0, 100.0, "l"),
    ("net-g", "net_g", 10.0, 50_000.0, "g"),
    ("openings", "openings_week", 0.0, 100.0, "a week"),
    ("sealed-days", "sealed_days", 0.0, 3650.0, "days"),
    ("rh", "humidity_pct", 1.0, 100.0, "%RH"),
    ("temperature", "temperature_c", 0.0, 40.0, "°C"),
    ("loading-pct", "loading_pct", 0.0, 200.0, "%"),
)


def advise_on_bag(queries: Queries, wish: BagWish) -> BagAnswer:
    """The answer by the site's own catalogue and readings; FieldError names the field that is wrong."""
    _check(wish)
    library = queries.library()
    kind, material = _desiccant(library, wish.desiccant), _material(library, wish.material)
    temperature_c, humidity = _air(queries, wish)
    bag = _bag(wish, kind, material, temperature_c, humidity)
    worst, usual = estimate.worst_case(bag), estimate.usual_case(bag)
    worst_humidity = worst.room_kg_m3 / saturated_vapour_kg_m3(temperature_c)
    is_needed = bag.limit_humidity < min(worst_humidity, 1.0)
    started = _as_read(wish, bag, worst), _as_read(wish, bag, usual)
    return _answer(queries, wish, bag, started, is_needed=is_needed, material=material)


def _answer(
    queries: Queries,
    wish: BagWish,
    bag: Bag,
    cases: tuple[Case, Case],
    *,
    is_needed: bool,
    material: Material,
) -> BagAnswer:
    worst, usual = cases
    limit = bag.limit_humidity
    days_worst, days_usual = estimate.worst_days(worst, limit), estimate.usual_days(usual, limit)
    no_days = None if is_needed else "its contents stay printable in this air without desiccant"
    half, whole, why = _grams(bag, worst) if is_needed else (None, None, no_days)
    return BagAnswer(
        limit_humidity_pct=100.0 * limit,
        room_humidity_pct=100.0 * bag.room_humidity,
        temperature_c=bag.temperature_c,
        needs_desiccant=is_needed,
        days_worst=days_worst if is_needed else None,
        days_usual=days_usual if is_needed else None,
        days_worst_why=no_days,
        days_usual_why=no_days,
        film_g_day_worst=_G * worst.film_kg_day,
        film_g_day_usual=_G * usual.film_kg_day,
        opening_g_worst=_G * worst.opening_kg,
        contents_g=_G * bag.contents_kg,
        capacity_g_worst=_G * estimate.capacity_kg(worst, limit, bag.contents_kg),
        capacity_g_usual=_G * estimate.capacity_kg(usual, limit, bag.contents_kg),
        grams_6_months=half,
        grams_12_months=whole,
        grams_6_months_why=why,
        grams_12_months_why=why,
        check_by=_date(queries, wish, days_worst) if is_needed else None,
        renew_by=_date(queries, wish, days_usual) if is_needed else None,
        check_by_why=no_days or _no_date(days_worst),
        renew_by_why=no_days or _no_date(days_usual),
        card=_card(wish, bag, worst),
        cautions=cautions(bag, wish, material, days_worst=days_worst, is_needed=is_needed),
    )


def _grams(bag: Bag, worst: Case) -> tuple[float | None, float | None, str | None]:
    """Desiccant for 6 and for 12 months [g], and why no amount of it would do."""
    half, whole = (
        estimate.needed_kg(worst, bag.limit_humidity, days, bag.contents_kg)
        for days in (_HALF_YEAR_DAYS, _YEAR_DAYS)
    )
    if half is None or whole is None:
        return None, None, _no_amount(bag)
    return _G * half, _G * whole, None


def _check(wish: BagWish) -> None:
    for field, member, low, high, unit in _RANGES:
        value = getattr(wish, member)
        if value is not None and not low <= value <= high:
            raise FieldError(field, f"is {value:g}; allowed are {low:g} to {high:g} {unit}")
    if wish.film not in load_enclosures().films:
        raise FieldError("film", f"is {wish.film[:20]!r}; allowed are {', '.join(load_enclosures().films)}")
    if wish.state is ChargeState.LOADED and wish.loading_pct is None:
        raise FieldError("loading-pct", "is missing")
    for field, card in (("turned", wish.card), ("first-turned", wish.first_card)):
        _check_card(field, card)


def _check_card(field: str, card: CardReading | None) -> None:
    if card is None:
        return
    for value in (card.turned_pct, card.unturned_pct):
        if value is not None and not 1.0 <= value <= 95.0:
            raise FieldError(field, f"names a spot of {value:g}; allowed are 1 to 95 %RH")
    if None not in (card.turned_pct, card.unturned_pct) and (card.turned_pct or 0) >= (
        card.unturned_pct or 0
    ):
        raise FieldError(
            field,
            f"says that the spot of {card.turned_pct:g} % has turned and that of {card.unturned_pct:g} % "
            "has not: spots turn from the lowest up, so the card is spoilt or was read wrongly",
        )


def _desiccant(library: Library, key: str) -> DesiccantKind:
    try:
        return library.desiccant(key)
    except BadInputError as error:  # "desiccant 'x' is not ..."
        raise FieldError("desiccant", str(error).partition(" ")[2]) from None


def _material(library: Library, key: str) -> Material:
    try:
        return library.material(key)
    except BadInputError as error:
        raise FieldError("material", str(error).partition(" ")[2]) from None


def _air(queries: Queries, wish: BagWish) -> tuple[float, float]:
    """Temperature [°C] and humidity [0 to 1] round the bag."""
    if wish.air is BagAir.STEADY:
        for field, value in (("rh", wish.humidity_pct), ("temperature", wish.temperature_c)):
            if value is None:
                raise FieldError(field, "is missing")
        return wish.temperature_c or 0.0, (wish.humidity_pct or 0.0) / 100.0
    rooms = queries.inventory().rooms
    if wish.room not in rooms:
        named = (wish.room or "")[:20]
        raise FieldError("air", f"names room {named!r}; allowed are: {', '.join(sorted(rooms)) or 'none'}")
    return _now(queries, wish.room) if wish.air is BagAir.NOW else _last_month(queries, wish.room)


def _now(queries: Queries, key: str) -> tuple[float, float]:
    room = next(room for room in queries.status().rooms if room.key == key)
    if room.air.stale or room.air.humidity_pct is None or room.air.temperature_c is None:
        raise FieldError(
            "air", f"of {room.name} is not known just now: choose its last 30 days, or enter figures"
        )
    return room.air.temperature_c, min(max(room.air.humidity_pct / 100.0, 0.01), 1.0)


def _last_month(queries: Queries, key: str) -> tuple[float, float]:
    spans = room_past.hours(queries, key, _MONTH_DAYS)
    if len(spans) < _LEAST_MONTH_HOURS:
        name = queries.inventory().rooms[key].name
        raise FieldError("air", f"of {name} was measured for {len(spans)} h of 30 days only: enter figures")
    warmth = statistics.fmean(span.temperature_c for span in spans)
    vapour = statistics.fmean(span.vapour_kg_m3 for span in spans)
    return warmth, min(max(vapour / vapour_kg_m3(warmth, 1.0), 0.01), 1.0)


def _bag(
    wish: BagWish, kind: DesiccantKind, material: Material, temperature_c: float, humidity: float
) -> Bag:
    enclosures = load_enclosures()
    width_m, length_m = wish.width_cm / 100.0, wish.length_cm / 100.0
    limit = limit_relative_humidity(material)
    contents_kg = 0.0
    if wish.contents is Contents.ROOM:
        contents_kg = estimate.contents_water_kg(material, wish.net_g / _G, humidity, limit)
    full_m3 = estimate.blown_up_m3(width_m, length_m)
    if wish.air_l / 1000.0 > full_m3:
        raise FieldError(
            "air-l", f"is {wish.air_l:g}; a bag of that size holds at most {1000.0 * full_m3:.2g} l"
        )
    return Bag(
        film=enclosures.films[wish.film],
        area_m2=2.0 * width_m * length_m,
        zip_class=enclosures.boxes["zip_bag"] if wish.closure is Closure.ZIP else None,
        air_m3=wish.air_l / 1000.0,
        full_m3=full_m3,
        kind=kind,
        dry_kg=wish.dry_g / _G,
        loading=_loading(wish, kind),
        limit_humidity=limit,
        contents_kg=contents_kg,
        openings_per_day=wish.openings_week / 7.0,
        temperature_c=temperature_c,
        room_humidity=humidity,
    )


def _loading(wish: BagWish, kind: DesiccantKind) -> float | None:
    if wish.state is ChargeState.FRESH or wish.loading_pct is None:
        return None
    most = float(desiccant_loading(kind, 0.95))
    if wish.loading_pct / 100.0 > most:
        raise FieldError(
            "loading-pct", f"is {wish.loading_pct:g}; {kind.name} holds at most {100.0 * most:.0f} %"
        )
    return wish.loading_pct / 100.0


def _as_read(wish: BagWish, bag: Bag, case: Case) -> Case:
    first = _range(wish.first_card)
    return case if first is None else estimate.started_as_read(case, first, bag.contents_kg)


def _range(reading: CardReading | None) -> Card | None:
    if reading is None:
        return None
    turned, unturned = (
        None if value is None else value / 100.0 for value in (reading.turned_pct, reading.unturned_pct)
    )
    return estimate.card_range(turned, unturned)


def _card(wish: BagWish, bag: Bag, worst: Case) -> CardAnswer | None:
    card = _range(wish.card)
    if card is None:
        return None
    most = estimate.humidity_after(worst, wish.sealed_days)
    seam = estimate.humidity_after(estimate.open_seam(bag), wish.sealed_days)
    leaked = estimate.has_leaked(card, most, seam)
    return CardAnswer(
        low_pct=100.0 * card.low,
        high_pct=100.0 * card.high,
        most_explained_pct=100.0 * most,
        open_seam_pct=100.0 * seam,
        leaked=leaked,
        leaked_why=leaked_words(leaked, card, most, seam, wish.sealed_days),
    )


def _no_amount(bag: Bag) -> str:
    return (
        f"no sensible amount of it, started so, surely holds {100.0 * bag.limit_humidity:.0f} %RH: "
        "dry it hotter, or take a molecular sieve"
    )


def _no_date(days: float) -> str | None:
    return None if days < LONGEST_DAYS else "it lasts for two years or more"


def _date(queries: Queries, wish: BagWish, days: float) -> str | None:
    """The day of the site on which so many days since the bag was shut are over."""
    if days >= LONGEST_DAYS:
        return None
    end_s = queries.now_s() + 86_400.0 * (math.floor(days) - wish.sealed_days)
    return dt.datetime.fromtimestamp(end_s, zoneinfo.ZoneInfo(queries.zone())).date().isoformat()
