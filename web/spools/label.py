"""What stands on a spool's printed label (D-05), and its QR code as one path."""

from collections.abc import Sequence
from dataclasses import dataclass

import segno

from monitor.library import Library
from monitor.model.answers import SpoolAnswer
from monitor.model.inventory import Spool
from monitor.model.records import effective
from monitor.model.spool_event import Dried, Opened, SpoolEvent, Weighed
from web.inside import sentence
from web.present import Presenter, seconds
from web.spools.words import short_name

SIZES = {"small": "62 × 29 mm", "a7": "A7"}
_LOOPBACK = ("localhost", "127.", "[::1]")
_DAY = "%d %b %Y"
_HORIZON_S = 90 * 86_400.0  # as far as a forecast goes


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """The label's lines, finished."""

    name: str
    material: str
    lines: tuple[tuple[str, str], ...]  # (what, figure)
    url: str
    code_path: str
    code_side: int
    is_local: bool  # the code leads to this machine itself, which no phone can reach
    printed: str


def label(
    spool: SpoolAnswer,
    kept: Spool,
    events: Sequence[SpoolEvent],
    library: Library,
    present: Presenter,
    *,
    url: str,
    now_s: float,
) -> Label:
    """The label of one spool as of now."""
    path, side = code(url)
    return Label(
        name=spool.name,
        material=f"{short_name(library, spool.material)}  {kept.diameter_mm:g} mm",
        lines=(
            ("Opened", _opened(kept, events, present)),
            ("Dried", _dried(spool, events, present)),
            ("Use before", _use_before(spool, present, now_s)),
            ("Reel", "not known" if kept.reel_g is None else f"{kept.reel_g:g} g"),
            ("Weighed", _weight(events, present)),
        ),
        url=url,
        code_path=path,
        code_side=side,
        is_local=url.partition("://")[2].lower().startswith(_LOOPBACK),
        printed=present.clock(now_s, "%d %b %Y %H:%M"),
    )


def code(url: str) -> tuple[str, int]:
    """A QR code as the path of its dark runs, and its side in modules, quiet zone included."""
    made = segno.make(url, error="m", micro=False)
    rows = [tuple(row) for row in made.matrix_iter(scale=1, border=2)]
    runs = []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            length = 1
            while x + length < len(row) and row[x + length] == row[x]:
                length += 1
            if row[x]:
                runs.append(f"M{x} {y}h{length}v1h-{length}z")
            x += length
    return "".join(runs), len(rows)


def _opened(kept: Spool, events: Sequence[SpoolEvent], present: Presenter) -> str:
    opened = [event.at_s for event in effective(events) if isinstance(event.what, Opened)]
    if opened:
        return present.clock(opened[-1], _DAY)
    if kept.start == "open" and kept.since_s is not None:
        return f"by {present.clock(kept.since_s, _DAY)}"
    return "not told"


def _dried(spool: SpoolAnswer, events: Sequence[SpoolEvent], present: Presenter) -> str:
    """When and how, by whichever was last: told by a person, or followed in an oven."""
    told = [event for event in effective(events) if isinstance(event.what, Dried)]
    book = spool.account
    stays = [stay for stay in book.stays if stay.is_hot and stay.end is not None] if book else []
    end_s = (seconds(stays[-1].end) or 0.0) if stays else 0.0
    # A drying that was told is a hot stay as well: its record says more.
    if told and told[-1].at_s >= end_s - 3600.0:
        what = told[-1].what
        assert isinstance(what, Dried)  # filtered above
        return f"{present.clock(told[-1].at_s, _DAY)}, {what.hours:g} h {what.temperature_c:g} °C"
    if stays:
        return f"{present.clock(end_s, _DAY)}, {stays[-1].hours:.0f} h in an oven"
    reset_s = seconds(book.reset) if book else None
    return "not yet" if reset_s is None else f"{present.clock(reset_s, _DAY)}, by weight"


def _use_before(spool: SpoolAnswer, present: Presenter, now_s: float) -> str:
    at_s = seconds(spool.use_before)
    if at_s is not None:
        return present.clock(at_s, "%d %b %Y %H:%M")
    if spool.verdict == "ready":
        # A label outlives the day on which it is printed: it bears a date, not a time to go.
        good = f"good until {present.clock(now_s + _HORIZON_S, _DAY)} at least"
        return "good while sealed" if spool.trend == "sealed" else good
    if spool.verdict == "damaged":
        return "beyond saving"
    if spool.moisture_pct.p50 is None:
        return sentence(spool.moisture_pct.why or "not known")
    return "dry it first" if spool.verdict == "dry_first" else "not sure: dry it"


def _weight(events: Sequence[SpoolEvent], present: Presenter) -> str:
    weighed = [event for event in effective(events) if isinstance(event.what, Weighed)]
    if not weighed:
        return "never"
    what = weighed[-1].what
    assert isinstance(what, Weighed)  # filtered above
    return f"{what.mass_g:g} g, {present.clock(weighed[-1].at_s, _DAY)}"
