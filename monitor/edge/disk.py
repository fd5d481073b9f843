"""How much room is left where the database lies."""

import shutil
from pathlib import Path


def disk_room(path: Path) -> tuple[int, int] | None:
    """Free and all bytes of the file system that a file lies on; None where it cannot be told."""
    try:
        usage = shutil.disk_usage(path.parent)
    except OSError:
        return None
    return usage.free, usage.total
