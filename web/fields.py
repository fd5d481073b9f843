"""Fields of a question read out of what was typed; what is wrong is a FieldError with the field's name."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.errors import FieldError


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One line of a list to choose from."""

    value: str
    words: str
    is_chosen: bool


def choices(pairs: Sequence[tuple[str, str]], chosen: str) -> tuple[Choice, ...]:
    return tuple(Choice(value=value, words=words, is_chosen=value == chosen) for value, words in pairs)


def fault_in_words(error: FieldError, labels: Mapping[str, str]) -> str:
    """The sentence for a person: the field by the name it has on the page."""
    return f"{labels.get(error.field, error.field)} {error.fault}."


def given(args: Mapping[str, str], name: str) -> str:
    return args.get(name, "").strip()


def number(args: Mapping[str, str], name: str, allowed: str) -> float | None:
    """The figure in a field, with a point or a comma; None where it is empty."""
    text = given(args, name)
    return figure(name, text, allowed) if text else None


def figure(name: str, text: str, allowed: str) -> float:
    """A figure as people type it, with a point or a comma."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise FieldError(name, f"is {text[:20]!r}, which is no number; allowed are {allowed}")
    return value


def needed(args: Mapping[str, str], name: str, allowed: str) -> float:
    value = number(args, name, allowed)
    if value is None:
        raise FieldError(name, f"is missing; allowed are {allowed}")
    return value


def one_of(args: Mapping[str, str], name: str, default: str, allowed: tuple[str, ...]) -> str:
    return among(name, given(args, name) or default, allowed)


def among(name: str, value: str, allowed: tuple[str, ...]) -> str:
    """The value, if it is one of those allowed."""
    if value not in allowed:
        raise FieldError(name, f"is {value[:20]!r}; allowed are {', '.join(allowed)}")
    return value
