"""What was recorded round a trip of an oven, read back (A-25)."""

import json

from monitor.errors import StoreError
from monitor.model.cycle import Fired, FirstOut, TraceSample


def from_text(text: str) -> FirstOut:
    """What the desk has kept; StoreError when it is anything else."""
    try:
        said = json.loads(text)
        return FirstOut(
            oven=said["oven"],
            trip=said["trip"],
            at_wall_s=said["at_wall_s"],
            fired=tuple(Fired(**each) for each in said["fired"]),
            trace=tuple(
                TraceSample(**(each | {"chamber_c": tuple(each["chamber_c"])})) for each in said["trace"]
            ),
            is_complete=said["is_complete"],
        )
    except (ValueError, KeyError, TypeError) as error:
        raise StoreError(f"the record of a trip cannot be read: {error}") from None
