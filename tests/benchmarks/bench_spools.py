"""How often the range of a spool's water holds the truth, over spools that differ from the catalogue."""

from statistics import median

from support.spool_truth import outcome

_SEEDS = range(1_000, 1_400)


def run() -> dict[str, float]:
    """Shares and errors, over all and by the length of the stay."""
    outcomes = [outcome(seed) for seed in _SEEDS]
    found: dict[str, float] = {
        "spools": len(outcomes),
        "mean_within_p10_p90": _share([each.holds()[0] for each in outcomes]),
        "outer_within_p10_p90": _share([each.holds()[1] for each in outcomes]),
        "median_error_of_mean_relative": _error(outcomes),
    }
    for hours in sorted({each.hours for each in outcomes}):
        those = [each for each in outcomes if each.hours == hours]
        found[f"mean_within_p10_p90_after_{hours:g}_h"] = _share([each.holds()[0] for each in those])
        found[f"median_error_after_{hours:g}_h"] = _error(those)
    return found


def _share(held: list[bool]) -> float:
    return sum(held) / len(held)


def _error(outcomes) -> float:
    return median(abs(each.mean[1] / each.true_mean - 1.0) for each in outcomes)
