"""Commands that compute without a database: what-if."""

import argparse

from monitor.commands.common import DONE, print_json
from monitor.estimate.what_if import answer_what_if
from monitor.library import UNKNOWN, load_library
from monitor.model.answers import Spread, plain
from monitor.model.what_if import Drying, Night, Question, WhatIf, steady_air
from monitor.settings import Settings


def what_if(options: argparse.Namespace, _: Settings) -> int:
    """What becomes of a material in some air."""
    library = load_library()
    material = library.material(options.material)
    answer = answer_what_if(
        Question(
            material=material,
            reel=library.reel(UNKNOWN),
            air=steady_air(humidity_pct=options.rh, temperature_c=options.temperature, hours=options.hours),
            diameter_mm=options.diameter_mm,
            net_g=options.net_g,
            start_pct=options.start_pct,
            open_flanges=options.flanges == "open",
            is_strand=options.form == "strand",
        )
    )
    if options.json:
        print_json(plain(answer))
        return DONE
    print(
        f"{material.name} after {options.hours:g} h at {options.rh:g} %RH and {options.temperature:g} degC:"
    )
    _print_answer(answer)
    return DONE


def _print_answer(answer: WhatIf) -> None:
    rows = [
        ("water in it", f"{_range(answer.moisture_pct)} %; {_over(answer.over_limit_after_h)}"),
        ("outer windings", f"{_range(answer.outer_pct)} %; {_over(answer.outer_over_limit_after_h)}"),
        ("heading for", f"{answer.equilibrium_pct:g} %; its limit for printing is {answer.limit_pct:g} %"),
        ("a night outside", _night(answer.night_outside)),
        *(("drying", text) for text in _drying(answer.drying)),
        *(("would help", text) for text in answer.drying.remedies),
        *(("mind", text) for text in answer.cautions),
    ]
    for label, text in rows:
        print(f"  {label:<15} {text}".replace("°C", "degC"))


def _over(spread: Spread) -> str:
    """Where the limit is passed; the reason where it is not."""
    if spread.p50 is None:
        return spread.why or "not over the limit"
    after = "from the start" if spread.p50 == 0.0 else f"after {_range(spread)} h"
    return f"over the limit {after}"


def _night(night: Night) -> str:
    return (
        f"{night.hours:g} h add {_range(night.gain_pct)} % to a freshly dried one, {_range(night.gain_g)} g; "
        f"then over the limit: {_range(night.lost_m)} of {night.length_m:g} m"
    )


def _drying(drying: Drying) -> list[str]:
    if drying.hours.p50 == 0.0:
        return [f"not needed: it is under {drying.target_pct:g} %"]
    lines = [f"at {drying.temperature_c:g} degC: {drying.limited_by}"]
    if drying.why is not None:
        lines.append(drying.why)
    if drying.target_pct is not None:
        took = f"{_range(drying.hours)} h" if drying.hours.p50 is not None else drying.hours.why
        lines.append(f"in this air, merely heated, to {drying.target_pct:g} %: {took}")
    return lines


def _range(spread: Spread) -> str:
    if spread.p50 is None or spread.p10 is None:
        return "not known"
    if spread.p90 is None:
        return f"{spread.p50:g} ({spread.p10:g} or more)"
    if spread.p10 == spread.p50 == spread.p90:
        return f"{spread.p50:g}"
    return f"{spread.p50:g} ({spread.p10:g} to {spread.p90:g})"
