"""A report in finished words: sections of sentences and tables, the same for the page and for the PDF."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from monitor.model.answers import Spread
from monitor.model.report import DoseLine, Excursion, Gain, Report
from web.present import Presenter

_VERDICTS = {
    "as is": "Use as is.",
    "dry first": "Dry first.",
    "discard": "Discard what is damaged.",
    "not sure": "Not sure: weigh, or dry first.",
    "nothing inside": "Nothing is inside.",
}
_OF_SPOOLS = {
    "ready": "use as is",
    "dry_first": "dry first",
    "not_sure": "not sure",
    "damaged": "discard",
}
_WHOLE = 0.995
_ROWS_MOST = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading, sentences, and a table where there is one."""

    heading: str
    sentences: tuple[str, ...] = ()
    header: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    title: str
    time: str
    made: str
    verdict: str
    sections: tuple[Section, ...]


def sheet_of(report: Report, names: Mapping[str, str], present: Presenter, zone: str) -> Sheet:
    """The finished words.

    Args:
        report: Of a box or spool.
        names: Of places, by key.
        present: Makes local time.
        zone: That it is of.
    """
    return Sheet(
        title=report.name,
        time=f"{_minute(report.from_s, present)} to {_minute(report.to_s, present)} ({zone})",
        made=_minute(report.made_s, present),
        verdict=_VERDICTS[report.verdict],
        sections=tuple(_sections(report, names, present)),
    )


def _sections(report: Report, names: Mapping[str, str], present: Presenter) -> Iterator[Section]:
    yield _limit(report)
    yield _over(report, names, present)
    yield _air(report, names, present)
    if report.doses:
        yield _dose(report)
    if report.gains:
        yield _water(report)
    yield Section(
        heading="What was done and said",
        sentences=() if report.lines else ("Nothing was written down in this time.",),
        header=("When", "Who", "What") if report.lines else (),
        rows=tuple(
            (_minute(line.at_s, present), line.who, line.words) for line in report.lines[-_ROWS_MOST:]
        ),
    )
    yield _sensors(report)
    yield Section(
        heading="Decided",
        sentences=() if report.decisions else ("Nobody has decided yet.",),
        header=("When", "Who", "What") if report.decisions else (),
        rows=tuple((_minute(line.at_s, present), line.who, line.words) for line in report.decisions),
    )


def _limit(report: Report) -> Section:
    if report.limit_pct is None:
        return Section(heading="Limit", sentences=("Nothing is inside that would ask for one.",))
    return Section(heading="Limit", sentences=(f"{_pct(report.limit_pct)}. {report.limit_basis}",))


def _over(report: Report, names: Mapping[str, str], present: Presenter) -> Section:
    if not report.excursions:
        known = "In what was measured the" if report.coverage < _WHOLE else "The"
        has_limit = report.limit_pct is not None
        told = f"{known} air was never over the limit." if has_limit else "There is no limit."
        return Section(heading="Times over the limit", sentences=(told,))
    total_s = sum(each.measured_s for each in report.excursions)
    area = sum(each.area_pct_h for each in report.excursions)
    longest = sorted(report.excursions, key=lambda each: -each.area_pct_h)[:_ROWS_MOST]
    return Section(
        heading="Times over the limit",
        sentences=(
            f"{len(report.excursions)} times, {_hours(total_s)} in all; {area:.0f} %RH·h over the limit.",
        ),
        header=("From", "To", "For", "Mean", "Highest", "Over it"),
        rows=tuple(
            _excursion(each, names, present, many=report.kind == "spool")
            for each in sorted(longest, key=lambda each: each.from_s)
        ),
    )


def _excursion(
    each: Excursion, names: Mapping[str, str], present: Presenter, *, many: bool
) -> tuple[str, ...]:
    place = f" ({names.get(each.place, each.place)})" if many else ""
    gap_s = each.to_s - each.from_s - each.measured_s
    missing = f", {_hours(gap_s)} of it not measured" if gap_s > 60.0 else ""
    return (
        _minute(each.from_s, present) + place,
        "goes on" if each.is_under_way else _minute(each.to_s, present),
        _hours(each.to_s - each.from_s) + missing,
        _pct(each.mean_pct),
        _pct(each.highest_pct),
        f"{each.area_pct_h:.1f} %RH·h",
    )


def _air(report: Report, names: Mapping[str, str], present: Presenter) -> Section:
    sentences = []
    if report.mean_pct is None or report.lowest_pct is None or report.highest_pct is None:
        sentences.append("Nothing was measured in this time.")
    else:
        warmth = ""
        if report.temperature_c is not None:
            warmth = f"; {report.temperature_c[0]:.1f} to {report.temperature_c[1]:.1f} °C"
        sentences.append(
            f"{_pct(report.lowest_pct)} to {_pct(report.highest_pct)}, mean {_pct(report.mean_pct)}{warmth}."
        )
    sentences.append(f"{100.0 * report.coverage:.1f} % of the time was measured.")
    if report.worst_time is not None:
        sentences.append(f"Of their times: {report.worst_time}.")
    else:
        sentences.append("How its readings got their times is not kept any more.")
    return Section(
        heading="The air",
        sentences=tuple(sentences),
        header=("Not measured from", "To", "Where") if report.gaps else (),
        rows=tuple(
            (_minute(gap.from_s, present), _minute(gap.to_s, present), names.get(gap.place, gap.place))
            for gap in report.gaps[-_ROWS_MOST:]
        ),
    )


def _dose(report: Report) -> Section:
    return Section(
        heading="As if it had been",
        sentences=(
            "The steady humidity that would have left a bare strand with the same water, at the temperatures"
            " that were; and the dose, which counts water over the limit by how fast the strand takes it."
            " A mean never excuses its worst hour.",
        ),
        header=("Material", "As if at", "Worst hour", "Dose"),
        rows=tuple(_dose_row(line) for line in report.doses),
    )


def _dose_row(line: DoseLine) -> tuple[str, ...]:
    bounded = line.equivalent_low_pct != line.equivalent_high_pct or line.dose_low != line.dose_high
    humidity = f"{_pct(line.equivalent_low_pct)}"
    dose = f"{line.dose_low:.2g}"
    if bounded:
        humidity = f"between {_pct(line.equivalent_low_pct)} and {_pct(line.equivalent_high_pct)}"
        dose = f"between {line.dose_low:.2g} and {line.dose_high:.2g}"
    worst = "not measured" if line.worst_hour_pct is None else _pct(line.worst_hour_pct)
    return (line.material, humidity, worst, dose)


def _water(report: Report) -> Section:
    recipes = dict.fromkeys(f"{gain.material}: {gain.recipe}" for gain in report.gains if gain.recipe)
    return Section(
        heading="Water in the spools",
        sentences=tuple(recipes),
        header=("Spool", "Limit", "Before", "After", "Gained", "Verdict"),
        rows=tuple(_gain_row(gain) for gain in report.gains),
    )


def _gain_row(gain: Gain) -> tuple[str, ...]:
    return (
        f"{gain.name}, {gain.material}",
        f"{gain.limit_pct:.2g} %",
        _spread(gain.before_pct, " %"),
        _spread(gain.after_pct, " %"),
        _spread(gain.gained_g, " g"),
        f"{_OF_SPOOLS[gain.verdict]}. {gain.verdict_why}".strip(),
    )


def _sensors(report: Report) -> Section:
    if not report.sensors:
        return Section(heading="Sensors", sentences=("No sensor is placed here.",))
    return Section(
        heading="Sensors",
        sentences=tuple(f"{sensor.channel}: {sensor.words}" for sensor in report.sensors),
    )


def _spread(value: Spread, unit: str) -> str:
    if value.p10 is None or value.p50 is None or value.p90 is None:
        return f"cannot be told: {value.why}" if value.why else "cannot be told"
    return f"{value.p50:.2g}{unit} ({value.p10:.2g} to {value.p90:.2g})"


def _pct(value: float) -> str:
    return f"{value:.1f} %RH"


def _hours(seconds: float) -> str:
    if seconds < 5_400.0:
        return f"{seconds / 60.0:.0f} min"
    return f"{seconds / 3_600.0:.1f} h" if seconds < 172_800.0 else f"{seconds / 86_400.0:.1f} days"


def _minute(time_s: float, present: Presenter) -> str:
    return present.clock(time_s, "%d %b %Y %H:%M")
