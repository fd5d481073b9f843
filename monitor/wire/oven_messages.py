"""What the monitor says to an oven's controller, and the stop that anybody may say."""

import json

from monitor.errors import BadMessageError
from monitor.model.cycle import Permit
from monitor.wire.senml_labels import MAX_PAYLOAD_BYTES

_MOST_CHARS = 200


def dump_permit(permit: Permit) -> bytes:
    """Contract 3; the names of the members are those of the dataclass."""
    return json.dumps(
        {
            "cycle": permit.cycle,
            "seq": permit.seq,
            "boot": permit.boot,
            "state_seq": permit.state_seq,
            "setpoint_c": permit.setpoint_c,
            "ceiling_c": permit.ceiling_c,
            "lease_s": permit.lease_s,
        },
        allow_nan=False,
    ).encode()


def dump_stop(cycle: str, why: str, stop_id: str) -> bytes:
    """`id` is ours: by it our own stop is known when the broker gives it back."""
    return json.dumps({"cycle": cycle, "why": why[:_MOST_CHARS], "id": stop_id}, ensure_ascii=False).encode()


def dump_reset(trip: str, boot: str, who: str) -> bytes:
    return json.dumps({"trip": trip, "boot": boot, "who": who[:_MOST_CHARS]}, ensure_ascii=False).encode()


def parse_stop(payload: bytes) -> tuple[str, str, str | None]:
    """(cycle, why, id) of a stop. Whatever it says is obeyed: what cannot be read stops all (B-17)."""
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise BadMessageError(f"a payload has at most {MAX_PAYLOAD_BYTES} bytes")
    try:
        said = json.loads(payload)
    except (ValueError, RecursionError):
        said = None
    members = said if isinstance(said, dict) else {}
    cycle, why, stop_id = (members.get(name) for name in ("cycle", "why", "id"))
    return (
        cycle[:_MOST_CHARS] if isinstance(cycle, str) else "*",
        why[:_MOST_CHARS] if isinstance(why, str) and why.strip() else "no reason was given",
        stop_id[:_MOST_CHARS] if isinstance(stop_id, str) else None,
    )
