"""The newest air reading of a place, with its age and how far it can be believed."""

import datetime as dt
from collections.abc import Mapping

from monitor.alarms import wording
from monitor.model.answers import AirAnswer, Freshness
from monitor.model.batch import DeviceRow
from monitor.model.history import Newest
from monitor.model.reading import Quantity
from monitor.physics import psychrometrics

DEFAULT_DUE_S = 600.0
LOST_AFTER_DUES = 10.0
# Temperature and humidity of one conversion carry the same time; a pair further apart is no pair.
PAIR_WITHIN_MS = 120_000


def rfc3339(time_s: float) -> str:
    """Unix seconds as RFC 3339 in UTC, to the second or, where it says more, the millisecond."""
    moment = dt.datetime.fromtimestamp(time_s, dt.UTC)
    unit = "milliseconds" if moment.microsecond >= 500 else "seconds"
    return moment.isoformat(timespec=unit).replace("+00:00", "Z")


def nothing(why: str) -> AirAnswer:
    """A place of which nothing was heard."""
    return AirAnswer(
        at=None,
        temperature_c=None,
        humidity_pct=None,
        dew_point_c=None,
        vapour_g_m3=None,
        age_s=None,
        stale=True,
        freshness=Freshness.NEVER,
        due_s=None,
        why=why,
    )


def freshness_of(age_s: float, due_s: float, device: DeviceRow | None) -> Freshness:
    """Late past its due time, stale past twice, lost past ten times or when its device went away since."""
    if age_s > LOST_AFTER_DUES * due_s:
        return Freshness.LOST
    if age_s > 2.0 * due_s:
        went_away = device is not None and device.presence is not None and not device.presence.online
        return Freshness.LOST if went_away else Freshness.STALE
    return Freshness.LATE if age_s > due_s else Freshness.FRESH


def answer(
    found: Mapping[Quantity, Newest],
    at_ms: int,
    device: DeviceRow | None,
    changes: tuple[float | None, float | None],
    raw_humidity_pct: float | None = None,
) -> AirAnswer:
    """The air as of `at_ms`; `changes` are those of humidity [%RH] and dew point [K] over three hours.

    `raw_humidity_pct` is what the sensor said, where `found` has it corrected.
    """
    temperature, humidity = found.get(Quantity.TEMPERATURE), found.get(Quantity.HUMIDITY)
    leading = humidity or temperature
    if leading is None:
        return nothing("no temperature or humidity was heard from its channel")
    age_s = max(0.0, (at_ms - leading.time_ms) / 1000.0)
    due_s = leading.series.due_s or DEFAULT_DUE_S
    state = freshness_of(age_s, due_s, device)
    dew_point_c, vapour_g_m3 = _moisture(temperature, humidity)
    return AirAnswer(
        at=rfc3339(leading.time_ms / 1000.0),
        temperature_c=temperature.value if temperature else None,
        humidity_pct=humidity.value if humidity else None,
        dew_point_c=dew_point_c,
        vapour_g_m3=vapour_g_m3,
        age_s=round(age_s, 3),
        stale=state not in (Freshness.FRESH, Freshness.LATE),
        freshness=state,
        due_s=due_s,
        suspect=_suspect(humidity, raw_humidity_pct),
        humidity_change_pct=changes[0],
        dew_point_change_c=changes[1],
        raw_humidity_pct=raw_humidity_pct,
        why=None if temperature and humidity else "only one of temperature and humidity was heard",
    )


def _moisture(temperature: Newest | None, humidity: Newest | None) -> tuple[float | None, float | None]:
    """Dew point [degC] and vapour [g/m3] of a pair of readings that belong together."""
    if (
        temperature is None
        or humidity is None
        or abs(temperature.time_ms - humidity.time_ms) > PAIR_WITHIN_MS
    ):
        return None, None
    return dew_point_of(temperature.value, humidity.value), vapour_of(temperature.value, humidity.value)


def dew_point_of(temperature_c: float, humidity_pct: float) -> float | None:
    """Dew point [degC] to 0.01 K; None for air without vapour."""
    pressure_pa = psychrometrics.vapour_pressure_pa(temperature_c, humidity_pct / 100.0)
    if pressure_pa <= _LEAST_VAPOUR_PA:
        return None
    return round(psychrometrics.dew_point_c(pressure_pa), 2)


# A dew point of some -80 degC: air this dry is below what any sensor of this trade can tell from 0 %RH.
_LEAST_VAPOUR_PA = 0.1


def vapour_of(temperature_c: float, humidity_pct: float) -> float:
    """Water vapour in the air [g/m3]."""
    return round(1000.0 * psychrometrics.vapour_kg_m3(temperature_c, humidity_pct / 100.0), 4)


def _suspect(humidity: Newest | None, raw_pct: float | None) -> str | None:
    """A driver clamps to 0 and 100 %RH: exactly there the truth may lie beyond, corrected or not."""
    if humidity is None:
        return None
    said_pct = humidity.value if raw_pct is None else raw_pct
    if 0.0 < said_pct < 100.0:
        return None
    return wording.RAIL_LOW if said_pct <= 0.0 else wording.RAIL_HIGH
