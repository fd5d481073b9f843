"""Lines of the log as they go out: JSON, CSV, and CloudEvents 1.0 (A-37, C-21)."""

import csv
import datetime as dt
import io
import json
from typing import Any

from monitor.model.audit import AuditLine

CSV_HEAD = "seq,time_utc,time_quality,who,kind,about,what,detail,prev,hash"
CLOUD_EVENTS = "application/cloudevents-batch+json"
# A spreadsheet takes a cell that begins so for a formula; an apostrophe before it makes it text.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%")


def document(line: AuditLine) -> dict[str, Any]:
    """A line as JSON. `detail` is parsed; the hash was made over its canonical text."""
    row = line.row
    return {
        "seq": line.seq,
        "at": rfc3339_ms(row.at_ms),
        "quality": row.quality,
        "who": row.who,
        "kind": row.kind,
        "about": row.about,
        "what": row.what,
        "detail": json.loads(row.detail),
        "prev": line.prev,
        "hash": line.hash,
    }


def csv_line(line: AuditLine) -> str:
    """A line under `CSV_HEAD`, with CRLF."""
    row = line.row
    out = io.StringIO()
    texts = (row.quality, row.who, row.kind, row.about, row.what, row.detail)
    cells = [line.seq, rfc3339_ms(row.at_ms), *map(_safe, texts), line.prev, line.hash]
    csv.writer(out).writerow(cells)
    return out.getvalue()


def cloud_event(line: AuditLine, site: str) -> dict[str, Any]:
    """A line as an event: `source` and `id` name it for ever; a gap in `sequence` shows a missing one."""
    row = line.row
    event: dict[str, Any] = {
        "specversion": "1.0",
        "id": str(line.seq),
        "source": f"/sorbwatch/{site}/log",
        "type": f"sorbwatch.log.{row.kind}",
        "time": rfc3339_ms(row.at_ms),
        "sequence": f"{line.seq:019d}",  # orders as text, too
        "datacontenttype": "application/json",
        "data": {
            name: value
            for name, value in document(line).items()
            if name in ("quality", "who", "what", "detail", "prev", "hash")
        },
    }
    return event | ({"subject": row.about} if row.about else {})


def rfc3339_ms(at_ms: int) -> str:
    """Unix ms as RFC 3339 in UTC, always with its milliseconds: so it sorts as text."""
    try:
        moment = dt.datetime.fromtimestamp(at_ms // 1000, dt.UTC).replace(microsecond=at_ms % 1000 * 1000)
    except (ValueError, OverflowError, OSError):  # a clock that told nonsense: the line is given all the same
        return f"ms:{at_ms}"
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _safe(text: str) -> str:
    return f"'{text}" if text.startswith(_FORMULA) else text
