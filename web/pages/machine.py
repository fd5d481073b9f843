"""What other programs ask: is it well, and its figures in OpenMetrics."""

from collections.abc import Iterator

from flask import Blueprint, Response, request

from monitor import __version__
from monitor.model.answers import AirAnswer, StatusAnswer
from monitor.service.queries import Queries
from web.present import seconds
from web.problems import answer
from web.sign_in.roles import open_to_all

OPENMETRICS = "application/openmetrics-text; version=1.0.0; charset=utf-8"
PLAIN = "text/plain; version=0.0.4; charset=utf-8"
# (name, unit, help, member of the air)
_AIR = (
    ("sorbwatch_air_temperature_celsius", "celsius", "Temperature of the air.", "temperature_c", 1.0),
    ("sorbwatch_air_relative_humidity_ratio", "ratio", "Relative humidity, 0 to 1.", "humidity_pct", 0.01),
    ("sorbwatch_air_dew_point_celsius", "celsius", "Dew point of the air.", "dew_point_c", 1.0),
)


def blueprint(queries: Queries) -> Blueprint:
    """Routes for service managers and probes."""
    pages = Blueprint("machine", __name__)

    @pages.get("/healthz")
    @open_to_all
    def healthz() -> Response:
        health = queries.status().health
        if health.ok:
            return Response("ok\n", mimetype="text/plain")
        return answer(503, "Not well", " ".join(health.reasons))

    @pages.get("/metrics")
    def metrics() -> Response:
        wants_open = "application/openmetrics-text" in request.headers.get("Accept", "")
        text = "\n".join(_lines(queries.status()) if wants_open else _older(_lines(queries.status()))) + "\n"
        return Response(text, content_type=OPENMETRICS if wants_open else PLAIN)

    return pages


def _lines(status: StatusAnswer) -> Iterator[str]:
    places = [("box", box.key, box.air) for box in status.boxes]
    places += [("room", room.key, room.air) for room in status.rooms]
    for name, unit, text, member, factor in _AIR:
        yield from _family(name, "gauge", unit, text)
        for kind, key, air in places:
            value = getattr(air, member)
            # A stale value is left out, not repeated (C-20).
            if value is not None and not air.stale:
                yield f'{name}{{kind="{kind}",place="{key}"}} {value * factor:.6g}'
    name = "sorbwatch_last_sample_timestamp_seconds"
    yield from _family(name, "gauge", "seconds", "When the newest reading of a place was taken.")
    for kind, key, air in places:
        at_s = _at_s(air)
        if at_s is not None:
            yield f'{name}{{kind="{kind}",place="{key}"}} {at_s:.3f}'
    name = "sorbwatch_oven_chamber_celsius"
    yield from _family(name, "gauge", "celsius", "Temperature of an oven's chamber, its hottest sensor.")
    for oven in status.ovens:
        if oven.chamber_c is not None and not oven.stale:
            yield f'{name}{{place="{oven.key}"}} {oven.chamber_c:.6g}'
    health = status.health
    for counter, value, text in (
        ("readings", health.readings, "Readings taken."),
        ("packs", health.packs, "Packs taken."),
        ("duplicate_packs", health.duplicates, "Packs that came a second time."),
        ("quarantined", health.quarantined, "Records that could not be used."),
    ):
        yield from _family(f"sorbwatch_{counter}", "counter", "", text)
        yield f"sorbwatch_{counter}_total {value}"
    yield from _family("sorbwatch_broker_connected", "gauge", "", "1 while the broker link makes progress.")
    yield f"sorbwatch_broker_connected {int(health.broker == 'connected')}"
    yield from _family("sorbwatch_build", "info", "", "The running program.")
    yield f'sorbwatch_build_info{{version="{__version__}"}} 1'
    yield "# EOF"


def _older(lines: Iterator[str]) -> Iterator[str]:
    """The same in format 0.0.4: a counter bears its whole name; no units, infos or end; help is left out."""
    for line in lines:
        if line == "# EOF" or line.startswith(("# UNIT ", "# HELP ")):
            continue
        kind = line.rpartition(" ")[2]
        if line.startswith("# TYPE ") and kind in ("counter", "info"):
            suffix, as_kind = ("_total", "counter") if kind == "counter" else ("_info", "gauge")
            line = f"{line.removesuffix(' ' + kind)}{suffix} {as_kind}"
        yield line


def _family(name: str, kind: str, unit: str, text: str) -> Iterator[str]:
    yield f"# TYPE {name} {kind}"
    if unit:
        yield f"# UNIT {name} {unit}"
    yield f"# HELP {name} {text}"


def _at_s(air: AirAnswer) -> float | None:
    return seconds(air.at)
