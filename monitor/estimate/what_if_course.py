"""The bodies of a what-if, a wound spool or loose filament, and their course through some air."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from monitor.estimate.what_if_air import Piece
from monitor.estimate.what_if_members import Members, equilibrium
from monitor.model.what_if import Question
from monitor.physics.constants import Array
from monitor.physics.diffusion import (
    StrandModes,
    cylinder_modes,
    diffusivity_m2_s,
    mean_content,
    step_strand,
)
from monitor.physics.isotherm import Numbers
from monitor.physics.spool import (
    SpoolParameters,
    SpoolState,
    even_spool,
    ring_content,
    spool_parameters,
    spool_rings,
    step_spool,
)
from monitor.physics.spool_reading import (
    full_outer_m,
    mean_water_content,
    outer_water_content,
    total_length_m,
)
from monitor.physics.winding import OPEN_FLANGES

_STRAND_MODES = 10  # of one strand there is time for all that are tabulated
_SHARES = np.linspace(0.0, 1.0, 201)  # of the winding's volume, at which a profile is held against a limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Wound:
    """Filament on a reel; every member of the ensemble at once."""

    parameters: SpoolParameters
    state: SpoolState

    def after(self, piece: Piece) -> "Wound":
        state, _ = step_spool(
            self.parameters,
            self.state,
            3600.0 * piece.hours,
            piece.temperature_c,
            piece.humidity_pct / 100.0,
            settled_s=3600.0 * piece.settled_h,
        )
        return replace(self, state=state)

    def contents(self) -> tuple[Array, Array, Array]:
        """Mean, outer and inner water content [kg/kg], each of shape (members,)."""
        return (
            mean_water_content(self.parameters, self.state),
            outer_water_content(self.parameters, self.state),
            ring_content(self.parameters, self.state)[..., 0],
        )

    def length_m(self) -> float:
        return float(total_length_m(self.parameters, self.state)[0])

    def over_m(self, limit_content: float) -> Array:
        """Metres whose water content is above a limit, wherever they lie, shape (members,)."""
        rings = spool_rings(self.parameters, self.state)
        inside = rings.edges_m[..., :1] ** 2
        depth = (rings.middles_m**2 - inside) / (rings.edges_m[..., -1:] ** 2 - inside)
        content = ring_content(self.parameters, self.state)
        shares = [
            np.mean(np.interp(_SHARES, at, held) > limit_content)
            for at, held in zip(np.broadcast_to(depth, content.shape), content, strict=True)
        ]
        return np.array(shares) * self.length_m()


@dataclass(frozen=True, slots=True, kw_only=True)
class Loose:
    """One strand in free air: thinner than the millimetre that "outer" means, so that outer is its mean."""

    members: Members
    radius_m: float
    wound_m: float  # how much of it there is
    modes: StrandModes
    strand: Array  # shape (members, modes)

    def after(self, piece: Piece) -> "Loose":
        rate = np.array(
            [
                float(diffusivity_m2_s(m.diffusivity_m2_s, m.activation_j_mol, piece.temperature_c))
                for m in self.members.materials
            ]
        ) / (self.radius_m * self.radius_m)
        surface = equilibrium(self.members, piece.humidity_pct / 100.0)
        strand = step_strand(self.modes, self.strand, rate, 3600.0 * piece.hours, surface)
        return replace(self, strand=strand)

    def contents(self) -> tuple[Array, Array, Array]:
        mean = mean_content(self.modes, self.strand)
        return mean, mean, mean

    def length_m(self) -> float:
        return self.wound_m

    def over_m(self, limit_content: float) -> Array:
        return np.where(self.contents()[0] > limit_content, self.wound_m, 0.0)


Body = Wound | Loose


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Water content [kg/kg] at each time, shape (times, members); the first at the start."""

    hours: Array  # shape (times,)
    mean: Array
    outer: Array
    inner: Array
    end: Body


def body_of(question: Question, members: Members, content: Array, temperature_c: float) -> Body:
    """The filament that is asked about, evenly moist, shape (members,)."""
    if question.is_strand:
        return _loose(question, members, content)
    usual = spool_parameters(question.material, diameter_m=question.diameter_mm / 1000.0)
    parameters = spool_parameters(
        members.materials,
        diameter_m=question.diameter_mm / 1000.0,
        diffusion_share=float(usual.diffusion_share) * members.way,
        open_share=OPEN_FLANGES if question.open_flanges else 0.0,
    )
    outer_m = full_outer_m(parameters, question.net_g / 1000.0)
    return Wound(
        parameters=parameters,
        state=even_spool(parameters, outer_m, temperature_c, water_content=content),
    )


def course_of(body: Body, pieces: Iterable[Piece], until: Numbers | None = None) -> Course:
    """The body through the pieces, or only until every member's mean and outside are down to a content."""
    hours, rows = [0.0], [body.contents()]
    for piece in pieces:
        body = body.after(piece)
        hours.append(hours[-1] + piece.hours)
        rows.append(body.contents())
        if until is not None and (np.maximum(rows[-1][0], rows[-1][1]) <= until).all():
            break
    mean, outer, inner = (np.array(column) for column in zip(*rows, strict=True))
    return Course(hours=np.array(hours), mean=mean, outer=outer, inner=inner, end=body)


def _loose(question: Question, members: Members, content: Array) -> Loose:
    modes = cylinder_modes(_STRAND_MODES)
    radius_m = question.diameter_mm / 2000.0
    volume_m3 = question.net_g / 1000.0 / question.material.density_kg_m3
    return Loose(
        members=members,
        radius_m=radius_m,
        wound_m=volume_m3 / (np.pi * radius_m * radius_m),
        modes=modes,
        strand=np.repeat(content[:, None], len(modes.weights), axis=1),
    )
