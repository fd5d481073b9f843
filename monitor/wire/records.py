"""What all records of people have in common as JSON, and their times."""

import datetime as dt
from typing import Annotated, Any

import msgspec

from monitor.errors import BadInputError

MAX_BYTES = 8_192


class RecordBody(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, tag_field="kind"):
    """What every record says besides what happened."""

    who: Annotated[str, msgspec.Meta(min_length=1, max_length=200)] | None = (
        None  # whoever is signed in counts before it
    )
    at: dt.datetime | None = None  # None: just now
    replaces: int | None = None

    def at_s(self, now_s: float) -> float:
        """When it happened; a time without zone is UTC."""
        return now_s if self.at is None else unix_s(self.at)

    def told_by(self, signed_in: str | None) -> str:
        told_by = signed_in or self.who
        if told_by is None:
            raise BadInputError("the event cannot be read: `who` is missing")
        return told_by


def decoded(content: bytes, kinds: Any, what: str = "event") -> Any:
    """A document of one of these kinds, a union of structs; BadInputError names the member."""
    if len(content) > MAX_BYTES:
        raise BadInputError(f"an {what} has at most {MAX_BYTES} bytes")
    try:
        return msgspec.json.decode(content, type=kinds)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise BadInputError(f"the {what} cannot be read: {error}") from None
    except RecursionError:
        raise BadInputError(f"the {what} cannot be read: it is nested too deeply") from None


def dump_record(event: Any) -> dict[str, Any]:
    """A spool's or box's event as the API shows it."""
    return {
        "event_id": event.event_id,
        "kind": event.what.kind,
        "at": rfc3339(event.at_s),
        "entered": rfc3339(event.entered_s),
        "who": event.who,
        "replaces": event.replaces,
        **msgspec.to_builtins(event.what),
    }


def unix_s(moment: dt.datetime) -> float:
    aware = moment if moment.tzinfo is not None else moment.replace(tzinfo=dt.UTC)
    return aware.timestamp()


def rfc3339(time_s: float) -> str:
    return dt.datetime.fromtimestamp(time_s, dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
