"""What programs ask about alarms as JSON: strict and bounded."""

from typing import Annotated

import msgspec

from monitor.wire.records import decoded

_Line = Annotated[str, msgspec.Meta(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")]


class _Body(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    who: _Line | None = None  # whoever is signed in counts before it


class AcknowledgeBody(_Body, frozen=True, kw_only=True):
    activation: _Line


class ShelveBody(_Body, frozen=True, kw_only=True):
    """Until a time or, one-shot, until it is over."""

    why: _Line
    until_s: Annotated[float, msgspec.Meta(ge=0.0, le=4e9)] | None = None
    one_shot: bool = False


class WhyBody(_Body, frozen=True, kw_only=True):
    why: _Line


class PlainBody(_Body, frozen=True, kw_only=True):
    pass


class SilenceBody(_Body, frozen=True, kw_only=True):
    minutes: float


def parse_acknowledge(content: bytes) -> AcknowledgeBody:
    """BadInputError names the member that is wrong."""
    body: AcknowledgeBody = decoded(content, AcknowledgeBody, "order")
    return body


def parse_shelve(content: bytes) -> ShelveBody:
    body: ShelveBody = decoded(content, ShelveBody, "order")
    return body


def parse_why(content: bytes) -> WhyBody:
    body: WhyBody = decoded(content, WhyBody, "order")
    return body


def parse_plain(content: bytes) -> PlainBody:
    body: PlainBody = decoded(content or b"{}", PlainBody, "order")
    return body


def parse_silence(content: bytes) -> SilenceBody:
    body: SilenceBody = decoded(content, SilenceBody, "order")
    return body
