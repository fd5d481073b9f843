"""A bag without a sensor: how long its desiccant lasts at the worst and as usual, and what a card says.

Everything that comes in is driven by the vapour outside less that inside [kg/m3]: the film, the zip and the
openings are conductances in m3 of air per day. At the worst nothing is taken off for the bag filling up.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from monitor.estimate.box_forecast import LONGEST_DAYS, bag_days
from monitor.estimate.box_setup import fresh_loading
from monitor.library import polymer_content
from monitor.model.bag import Leaked
from monitor.model.catalogue import DesiccantKind, HydrateIsotherm, Material
from monitor.model.enclosure import BoxClass, Film
from monitor.physics.constants import CATALOGUE_K, GAS_J_MOL_K, VAPOUR_J_KG_K, ZERO_C_K, Array
from monitor.physics.desiccant import BATCH_SD
from monitor.physics.isotherm import desiccant_humidity, desiccant_loading
from monitor.physics.psychrometrics import saturated_vapour_kg_m3, saturation_pressure_pa

# At which films are measured here: 23 °C, 50 %RH outside, dry inside.
_TEST_PA = 0.5 * saturation_pressure_pa(23.0)
_NINE_IN_TEN = 1.2816  # standard deviations
# Weather and season over what was measured lately, relative; as the forecast of boxes has it.
_ROOM_SD = 0.12
# An opening at the worst fills the whole bag with the room's air; as usual half of it.
_USUAL_FILL = 0.5
# A seam that stands open: a closed but unwelded bag has been told of as 8 changes a day; half of that here,
# so that "it would show by now" is not said too early.
_OPEN_SEAM_PER_DAY = 4.0
# Spots turn gradually, the eye and the card differ: handbook, not verified.
_CARD_ERROR, _CARD_ERROR_ABOVE, _FINE_UP_TO = 0.02, 0.05, 0.15
_STEPS = 240
# Desiccant that takes up less than this of its own weight is no desiccant for the purpose [kg/kg].
LEAST_USEFUL = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Bag:
    """A bag as it was shut."""

    film: Film
    area_m2: float  # both sides
    zip_class: BoxClass | None  # None = welded
    air_m3: float  # left in it
    full_m3: float  # blown up
    kind: DesiccantKind
    dry_kg: float
    loading: float | None  # [kg/kg]; None = fresh
    limit_humidity: float  # of what lies inside, 0 to 1
    contents_kg: float  # of water that it will give off
    openings_per_day: float
    temperature_c: float
    room_humidity: float  # 0 to 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One possible bag: every figure settled."""

    kind: DesiccantKind
    dry_kg: float
    capacity: float  # of this batch over the catalogue's
    loading: float  # when shut, with what the contents give off
    film_m3_day: float  # film and zip
    opening_m3: float
    openings_per_day: float
    temperature_c: float
    room_kg_m3: float

    @property
    def film_kg_day(self) -> float:
        """Through film and zip into a dry bag."""
        return self.film_m3_day * self.room_kg_m3

    @property
    def opening_kg(self) -> float:
        """By one opening, into a dry bag."""
        return self.opening_m3 * self.room_kg_m3

    @property
    def inflow_kg_day(self) -> float:
        """All that comes in a day while the bag is dry."""
        return self.film_kg_day + self.opening_kg * self.openings_per_day


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """Between which humidities a card says the bag is, 0 to 1."""

    low: float
    high: float


def blown_up_m3(width_m: float, length_m: float) -> float:
    """Volume of a flat bag blown up: the paper bag problem (A. C. Robin, Mathematics Today 40, 2004).

    >>> round(1000 * blown_up_m3(0.30, 0.40), 1)
    7.8
    """
    short, long = min(width_m, length_m), max(width_m, length_m)
    ratio = long / short
    return float(short**3 * (ratio / math.pi - 0.142 * (1.0 - 10.0**-ratio)))


def film_m3_day(transmission_kg_m2_day: float, film: Film, area_m2: float, temperature_c: float) -> float:
    """Conductance of a film at a temperature [m3 of air/day], from its transmission at 23 °C and 50 %RH."""
    kelvin = temperature_c + ZERO_C_K
    quickened = math.exp(-film.activation_j_mol / GAS_J_MOL_K * (1.0 / kelvin - 1.0 / CATALOGUE_K))
    return transmission_kg_m2_day * area_m2 * quickened * VAPOUR_J_KG_K * kelvin / _TEST_PA


def contents_water_kg(
    material: Material, net_kg: float, from_humidity: float, limit_humidity: float
) -> float:
    """What filament settled in the room's air gives off until it is at its limit [kg]; never below 0."""
    over = polymer_content(material, from_humidity) - polymer_content(material, min(limit_humidity, 1.0))
    return net_kg * max(over, 0.0)


def worst_case(bag: Bag) -> Case:
    """Thinnest film, moistest room, weakest batch, fullest start: nine times in ten it is better."""
    fresh, fresh_sd = fresh_loading(bag.kind)
    start = fresh + _NINE_IN_TEN * fresh_sd if bag.loading is None else bag.loading
    saturated = saturated_vapour_kg_m3(bag.temperature_c)
    changes = 0.0 if bag.zip_class is None else bag.zip_class.most_per_day or bag.zip_class.least_per_day
    room = min(bag.room_humidity * (1.0 + _NINE_IN_TEN * _ROOM_SD), 1.0)
    return _case(
        bag,
        transmission=bag.film.transmission_kg_m2_day.high,
        changes_per_day=changes,
        capacity=math.exp(-_NINE_IN_TEN * BATCH_SD),
        start=start,
        fill=1.0,
        room_kg_m3=room * saturated,
    )


def usual_case(bag: Bag) -> Case:
    """The middle of every figure."""
    band = bag.film.transmission_kg_m2_day
    changes = 0.0
    if bag.zip_class is not None:
        most = bag.zip_class.most_per_day or bag.zip_class.least_per_day
        changes = math.sqrt(bag.zip_class.least_per_day * most)
    return _case(
        bag,
        transmission=math.sqrt(band.low * band.high),
        changes_per_day=changes,
        capacity=1.0,
        start=fresh_loading(bag.kind)[0] if bag.loading is None else bag.loading,
        fill=_USUAL_FILL,
        room_kg_m3=bag.room_humidity * saturated_vapour_kg_m3(bag.temperature_c),
    )


def worst_days(case: Case, limit_humidity: float) -> float:
    """Days until spent if all comes in as into a dry bag, up to LONGEST_DAYS."""
    return bag_days(
        case.kind,
        case.dry_kg * case.capacity,
        case.loading / case.capacity,
        limit_humidity,
        case.film_kg_day,
        case.opening_kg,
        case.openings_per_day,
    )


def usual_days(case: Case, limit_humidity: float) -> float:
    """Days until spent while the bag, as it fills, draws less and less; up to LONGEST_DAYS."""
    loading, days = _course(case)
    limit = _full(case, limit_humidity)
    if case.loading >= limit:
        return 0.0
    if limit > loading[-1]:
        return LONGEST_DAYS  # it comes to rest with the room before that
    return float(min(np.interp(limit, loading, days), LONGEST_DAYS))


def humidity_after(case: Case, days: float) -> float:
    """Humidity in the bag after so many days, with bed and air settled, 0 to 1."""
    held = loading_after(case, days) / case.capacity
    return float(desiccant_humidity(case.kind, held, case.temperature_c))


def loading_after(case: Case, days: float) -> float:
    """Loading of the bed after so many days [kg/kg]."""
    loading, at_days = _course(case)
    return float(np.interp(days, at_days, loading))


def capacity_kg(case: Case, limit_humidity: float, contents_kg: float = 0.0) -> float:
    """Water that the charge takes up until it is spent, that of the contents among it [kg]."""
    start = case.loading - contents_kg / case.dry_kg
    return case.dry_kg * max(_full(case, limit_humidity) - start, 0.0)


def needed_kg(case: Case, limit_humidity: float, days: float, contents_kg: float) -> float | None:
    """Dry desiccant of this kind, started like this, lasting so long at the worst; None: none does."""
    start = case.loading - contents_kg / case.dry_kg
    per_kg = _full(case, limit_humidity) - start
    if per_kg < LEAST_USEFUL:
        return None
    return (case.inflow_kg_day * days + contents_kg) / per_kg


def card_range(turned: float | None, unturned: float | None) -> Card:
    """The humidity that a card's spots allow, widened by how gradually they turn; spots 0 to 1."""
    low = 0.0 if turned is None else max(turned - _card_error(turned), 0.0)
    high = 1.0 if unturned is None else min(unturned + _card_error(unturned), 1.0)
    return Card(low=low, high=high)


def started_as_read(case: Case, card: Card, contents_kg: float) -> Case:
    """The case with a start as a card allowed when the bag was shut; what the contents give off comes yet."""
    to_come = contents_kg / case.dry_kg
    most = case.capacity * float(desiccant_loading(case.kind, card.high, case.temperature_c))
    least = case.capacity * float(desiccant_loading(case.kind, card.low, case.temperature_c))
    return replace(case, loading=min(max(case.loading - to_come, least), most) + to_come)


def open_seam(bag: Bag) -> Case:
    """The driest that a bag with a seam standing open may be: best film, strongest batch, driest start."""
    tight = _case(
        bag,
        transmission=bag.film.transmission_kg_m2_day.low,
        changes_per_day=0.0,
        capacity=math.exp(_NINE_IN_TEN * BATCH_SD),
        start=0.0 if bag.loading is None else bag.loading,
        fill=0.0,
        room_kg_m3=bag.room_humidity
        / (1.0 + _NINE_IN_TEN * _ROOM_SD)
        * saturated_vapour_kg_m3(bag.temperature_c),
    )
    return replace(
        tight,
        loading=tight.loading - bag.contents_kg / bag.dry_kg,  # what the contents bring may not have come yet
        film_m3_day=tight.film_m3_day + _OPEN_SEAM_PER_DAY * bag.full_m3,
    )


def has_leaked(card: Card, most_explained: float, open_seam_humidity: float) -> Leaked:
    """Whether more came in than the film lets through.

    Args:
        card: Now.
        most_explained: What film, openings and contents may have brought by now at the most, 0 to 1.
        open_seam_humidity: What a seam standing open shows by now at the least, 0 to 1.
    """
    if card.low > most_explained:
        return Leaked.LIKELY
    return Leaked.UNLIKELY if card.high < open_seam_humidity else Leaked.CANNOT_TELL


def _case(
    bag: Bag,
    *,
    transmission: float,
    changes_per_day: float,
    capacity: float,
    start: float,
    fill: float,
    room_kg_m3: float,
) -> Case:
    through = film_m3_day(transmission, bag.film, bag.area_m2, bag.temperature_c)
    return Case(
        kind=bag.kind,
        dry_kg=bag.dry_kg,
        capacity=capacity,
        loading=start + bag.contents_kg / bag.dry_kg,
        film_m3_day=through + changes_per_day * bag.air_m3,
        opening_m3=max(fill * bag.full_m3, bag.air_m3 if fill else 0.0),
        openings_per_day=bag.openings_per_day,
        temperature_c=bag.temperature_c,
        room_kg_m3=room_kg_m3,
    )


def _full(case: Case, limit_humidity: float) -> float:
    """Loading at which the charge is spent [kg/kg]."""
    return case.capacity * float(desiccant_loading(case.kind, limit_humidity))


def _course(case: Case) -> tuple[Array, Array]:
    """Loading and the days at which it is reached, up to just short of rest with the room.

    dt = m dq / (G (c_room - c(q))): the water that came in is the bed's gain, step by step.
    """
    saturated = saturated_vapour_kg_m3(case.temperature_c)
    room_humidity = min(case.room_kg_m3 / saturated, 1.0)
    rest = case.capacity * float(desiccant_loading(case.kind, room_humidity, case.temperature_c))
    flow_m3_day = case.film_m3_day + case.opening_m3 * case.openings_per_day
    if rest <= case.loading or flow_m3_day <= 0.0:
        return np.array([case.loading]), np.array([0.0])
    # Finer towards rest, where the last of it takes for ever.
    share = 1.0 - np.geomspace(1.0, 1e-3, _STEPS + 1)
    loading = case.loading + (rest - case.loading) * share
    if isinstance(case.kind.isotherm, HydrateIsotherm):
        # Where its humidity steps an interval ends, or the sum would depend on which side a middle falls.
        full = case.capacity * np.array([held for _, held in case.kind.isotherm.hydrates])
        loading = np.union1d(loading, full[(full > loading[0]) & (full < loading[-1])])
    middle = 0.5 * (loading[1:] + loading[:-1])
    inside = saturated * desiccant_humidity(case.kind, middle / case.capacity, case.temperature_c)
    drive = np.maximum(case.room_kg_m3 - inside, 1e-3 * case.room_kg_m3)
    steps = case.dry_kg * np.diff(loading) / (flow_m3_day * drive)
    return loading, np.concatenate(([0.0], np.cumsum(steps)))


def _card_error(spot: float) -> float:
    return _CARD_ERROR if spot <= _FINE_UP_TO else _CARD_ERROR_ABOVE
