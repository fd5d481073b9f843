"""What can happen to an oven's supervision; everything that `step` takes."""

from dataclasses import dataclass

from monitor.model.cycle import ExtendOrder, ResetOrder, StartOrder
from monitor.model.oven import OvenState
from monitor.oven.parameters import OvenParameters
from monitor.oven.site import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """A state message of the controller, parsed; for a relay, composed of its readings and its countdown."""

    state: OvenState


@dataclass(frozen=True, slots=True, kw_only=True)
class Ticked:
    """Nothing was heard; to be given at least every `loop_s`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Restarted:
    """The service has started on a saved state; first of all events, with the figures that hold now."""

    parameters: OvenParameters


@dataclass(frozen=True, slots=True, kw_only=True)
class FiguresSaid:
    """The oven's entry in the inventory gives other figures than those supervised by (B-52)."""

    parameters: OvenParameters


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteSaid:
    """Load, store, room, door, detector and so on, whenever one changes and at least once a minute."""

    site: Site


@dataclass(frozen=True, slots=True, kw_only=True)
class StartAsked:
    order: StartOrder


@dataclass(frozen=True, slots=True, kw_only=True)
class StopAsked:
    """From anyone, at any time, never refused (B-17). `id` is that of a message heard."""

    who: str
    why: str
    cycle: str = "*"
    id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtendAsked:
    order: ExtendOrder


@dataclass(frozen=True, slots=True, kw_only=True)
class ResetAsked:
    order: ResetOrder


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofTested:
    """B-50: a proof test was passed and recorded."""

    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundDry:
    """D-13: by the estimate, going on at the set-point gains nothing. It can take heat away and nothing else.

    `hold_c` is where it stays dry until it is taken out; None where no cooler air would keep it dry.
    """

    cycle: str
    hold_c: float | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofFailed:
    """B-50: a step of a proof test was not passed."""

    who: str
    what: str


Event = (
    Heard
    | Ticked
    | Restarted
    | FiguresSaid
    | SiteSaid
    | StartAsked
    | StopAsked
    | ExtendAsked
    | ResetAsked
    | ProofTested
    | FoundDry
    | ProofFailed
)
