"""Commands that compute without a database: what-if."""

import argparse

from monitor.commands.common import DONE, print_json
from monitor.estimate.what_if import Question, answer_what_if
from monitor.library import load_library
from monitor.model.answers import Spread, plain
from monitor.settings import Settings


def what_if(options: argparse.Namespace, _: Settings) -> int:
    """What becomes of a material in some air."""
    material = load_library().material(options.material)
    answer = answer_what_if(
        Question(
            material=material,
            diameter_mm=options.diameter_mm,
            net_g=options.net_g,
            start_pct=options.start_pct,
            humidity_pct=options.rh,
            temperature_c=options.temperature,
            hours=options.hours,
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
    print(f"  water in it     {_range(answer.moisture_pct)} %")
    print(f"  outer windings  {_range(answer.outer_pct)} %")
    print(f"  heading for     {answer.equilibrium_pct:g} %; its limit for printing is {answer.limit_pct:g} %")
    over = answer.over_limit_after_h
    print(f"  over its limit  {over.why if over.p50 is None else f'after {_range(over)} h'}")
    return DONE


def _range(spread: Spread) -> str:
    if spread.p10 is None or spread.p90 is None:
        return f"{spread.p50:g} or more"
    return f"{spread.p50:g} ({spread.p10:g} to {spread.p90:g})"
