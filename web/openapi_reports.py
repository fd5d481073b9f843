"""The part of the OpenAPI document that is about reports on boxes and spools."""

from typing import Any

from web.openapi_parts import NUMBER, TEXT, array_of, object_of, ref

_FIGURE = {"type": "number"}
_WORDS = {"type": "string"}
_LINE = object_of({"at_s": _FIGURE, "who": _WORDS, "words": _WORDS})
_EXCURSION = object_of(
    {
        **dict.fromkeys(("from_s", "to_s", "measured_s", "mean_pct", "highest_pct", "area_pct_h"), _FIGURE),
        "place": _WORDS,
        "is_under_way": {"type": "boolean"},
    }
)
_DOSE = object_of(
    {
        "material": _WORDS,
        **dict.fromkeys(
            (
                "coverage",
                "equivalent_low_pct",
                "equivalent_high_pct",
                "dose_low",
                "dose_high",
                "mean_temperature_c",
            ),
            _FIGURE,
        ),
        "worst_hour_pct": NUMBER,
    }
)
_GAIN = object_of(
    {
        **dict.fromkeys(("key", "name", "material", "verdict_why", "recipe"), _WORDS),
        "limit_pct": _FIGURE,
        **dict.fromkeys(("before_pct", "after_pct", "gained_g"), ref("Spread")),
        "verdict": {"enum": ["ready", "dry_first", "not_sure", "damaged"]},
    }
)
SCHEMAS: dict[str, Any] = {
    "Report": object_of(
        {
            "kind": {"enum": ["box", "spool"]},
            **dict.fromkeys(("key", "name", "limit_basis"), _WORDS),
            **dict.fromkeys(("from_s", "to_s", "made_s", "coverage"), _FIGURE),
            **dict.fromkeys(("limit_pct", "lowest_pct", "mean_pct", "highest_pct"), NUMBER),
            "temperature_c": {"type": ["array", "null"], "items": _FIGURE},
            "excursions": array_of(_EXCURSION),
            "gaps": array_of(object_of({"from_s": _FIGURE, "to_s": _FIGURE, "place": _WORDS})),
            "doses": array_of(_DOSE),
            "gains": array_of(_GAIN),
            "lines": array_of(_LINE),
            "sensors": array_of(
                object_of({"channel": _WORDS, "words": _WORDS, "is_overdue": {"type": "boolean"}})
            ),
            "worst_time": TEXT,
            "verdict": {"enum": ["as is", "dry first", "discard", "not sure", "nothing inside"]},
            "decisions": array_of(_LINE),
        }
    )
}
