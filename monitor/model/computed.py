"""States worked out from what is stored, to be kept beside it."""

from dataclasses import dataclass

from monitor.model.box_event import BoxCheckpoint, Noticed
from monitor.model.spool_event import Checkpoint


@dataclass(frozen=True, slots=True, kw_only=True)
class Computed:
    """What the followers of spools and boxes hand to the store."""

    spools: tuple[Checkpoint, ...] = ()
    boxes: tuple[BoxCheckpoint, ...] = ()
    noticed: tuple[Noticed, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.spools or self.boxes or self.noticed)
