"""From the structure's modes to the sounding body: air inside and outside, opening, losses of every part, in one model.

The steps are open, so that builds of one outline share the boundary elements: structure_of, surroundings, velocities,
outside, sounding; `sounding_body` does them all for one body. How it is held joins last (holding.py).
"""

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from fem.air import cavity_modes, couple
from fem.complex_modes import ComplexModes, complex_modes, undamped_modes
from fem.coupled_air import coupled_matrices, coupled_modes, with_rigid
from fem.eigen import SHIFT, Factor
from fem.energies import masses
from fem.interpolate import normal_displacement
from fem.modal_losses import modal_losses, modal_mass, modal_stiffness
from fem.model import weights
from fem.radiation import added_mass_at, boundary, piston, radiation
from fem.response import ModalModel, opening_resistance, residual_vector, with_air
from fem.wall_losses import pressures, wall_losses
from meshes import cavity as cavity_mesh
from meshes import outer_surface as outer_mesh
from meshes.body import top_height

HIGHEST = 1000.0  # Hz: cavity modes are kept below twice this; the boundary elements end here
RIGID = 6
SUPPORT_MODE = 0.5  # share of the moving energy in rigid motions from which on a mode belongs to the supports
OUTSIDES = ("top", "back", "sides")
AIR, RUBBING, OPENING, SUPPORTS = "air", "air_rubbing", "opening", "supports"


@dataclass(frozen=True)
class Structure:
    """Mass-normalised shapes of the dry body: six rigid, the elastic modes, and how it bends further at the saddle."""

    body: object
    space: object = field(repr=False)
    frequency: np.ndarray  # (n,) Hz; 0 for rigid motions
    shape: np.ndarray = field(repr=False)  # (dofs, n)
    loss: dict[str, np.ndarray]  # {part: (n, n)} as modal_losses
    stiffness: dict[str, np.ndarray]  # {part: (n, n)}
    mass: dict[str, np.ndarray]  # {part: (n, n)}
    weight: float  # kg
    drive: np.ndarray  # (n,) displacement out of the top at the saddle's middle
    valid_to: float  # Hz, of the highest elastic mode


@dataclass(frozen=True)
class Surroundings:
    """Air inside a body and the closed surface that it shows to the air outside."""

    cavity: object
    air: object = field(repr=False)  # CavityModes
    surface: object = field(repr=False)  # Boundary
    groups: dict[str, np.ndarray]  # of the surface's triangles


@dataclass(frozen=True)
class Sounding:
    """A body with its air, not yet held. State (q structure, U openings, s cavity modes), N unknowns."""

    structure: Structure
    around: Surroundings
    coupling: object = field(repr=False)
    model: ModalModel = field(repr=False)
    stored: dict[str, np.ndarray]  # {part: (N, N)} stiffness of structure parts and 'air'
    moving: dict[str, np.ndarray]  # {part: (N, N)} mass of structure parts, 'air' (inside) and 'opening'
    drive: np.ndarray  # (N,)
    lowest_hz: float  # lowest air-loaded resonance, at which opening and walls are given their friction


def structure_of(body, model, sections, found):
    """Structure of a Body from its Model, {region: Section} and elastic Modes `found`."""
    w = weights(sections)
    K, M = model.matrix("K", w), model.matrix("M", w)
    rows = saddle_rows(body, model.space)
    full = with_rigid(model.space, M, found)
    shift = max(SHIFT, -((2 * np.pi * found.frequency[0]) ** 2))
    load = rows.toarray()[0]
    bent = residual_vector(Factor(K - shift * M).solve, shift, M, full.shape, load)
    shape = np.column_stack([full.shape, bent])
    frequency = np.append(full.frequency, np.sqrt(bent @ (K @ bent)) / (2 * np.pi))
    return Structure(
        body, model.space, frequency, shape, modal_losses(model, sections, shape), modal_stiffness(model, sections, shape),
        modal_mass(model, sections, shape), sum(masses(model, sections).values()), load @ shape,
        float(found.frequency[-1]),
    )  # fmt: skip


def saddle_rows(body, space):
    """(1, dofs) displacement out of the top at the saddle's middle; times 1 N the load of a force there."""
    x, y = body.bridge.saddle_x, body.bridge.centre[1]
    return normal_displacement(space, ("top",), np.array([[x, y, float(top_height(body, x, y))]]), np.eye(3)[2:])


def surroundings(body, highest=HIGHEST, cavity_size=cavity_mesh.DEFAULT_SIZE, surface_size=outer_mesh.SIZE):
    """Surroundings of a Body; cavity modes below twice `highest` [Hz]; sizes [m] of both meshes."""
    cavity, outer = cavity_mesh.mesh_cavity(body, cavity_size), outer_mesh.outer_surface(body, surface_size)
    return Surroundings(cavity, cavity_modes(cavity, highest), boundary(outer.nodes, outer.triangles), outer.groups)


def velocities(structure, around):
    """(m, n + openings) normal velocities of the outer surface per unit of each structure mode and opening."""
    s, openings = around.surface, list(around.cavity.openings)
    V = np.zeros((len(s.area), len(structure.frequency) + len(openings)))
    for group in OUTSIDES:
        i = around.groups[group]
        rows = normal_displacement(structure.space, (group,), s.centroid[i], s.normal[i])
        V[i, : len(structure.frequency)] = rows @ structure.shape
    for k, name in enumerate(openings, len(structure.frequency)):
        V[:, k] = piston(s, around.groups[name])
    return V


def outside(surface, columns, **options):
    """[Radiation] of several sets of velocities (m, n_i) on one surface, solved together."""
    whole = radiation(surface, np.hstack(columns), **options)
    ends = np.cumsum([0, *(c.shape[1] for c in columns)])
    cut = lambda a, b: replace(
        whole,
        resistance=whole.resistance[:, a:b, a:b],
        added_mass=whole.added_mass[:, a:b, a:b],
        pressure=None if whole.pressure is None else whole.pressure[:, :, a:b],
    )
    return [cut(a, b) for a, b in pairwise(ends)]


def sounding(structure, around, radiated):
    """Sounding of a Structure with its Surroundings and the Radiation of its motions."""
    s, air, openings = structure, around.air, around.cavity.openings
    coupling = couple(s.space, s.shape, around.cavity, air)
    lowest = lowest_air_resonance(coupled_modes(s.frequency, coupling, air, openings))
    K, M = coupled_matrices(s.frequency, coupling, air, openings, "boundary_elements")
    n, walls, N = len(s.frequency), coupling.c.shape[1], len(K)
    wide = lambda A: np.pad(A, ((0, N - len(A)),) * 2)
    friction = {name: opening_resistance(o, lowest) for name, o in openings.items()}
    model = with_air(K, M, n, s.loss, friction, radiated)
    warmth, rubbing = wall_losses(around.cavity, air, coupling, lowest)
    model = replace(model, loss=model.loss | {AIR: warmth}, viscous=model.viscous | {RUBBING: rubbing})
    own = np.zeros(N)
    own[n:walls] = np.diag(M)[n:walls] - np.diag(coupling.residual_mass)[n:]
    moving = {part: wide(A) for part, A in s.mass.items()}
    moving |= {OPENING: np.diag(own), AIR: M - np.diag(own) - np.diag(np.append(np.ones(n), np.zeros(N - n)))}
    P = pressures(air, coupling)
    stored = {part: wide(A) for part, A in s.stiffness.items()} | {AIR: P.T @ P}
    drive = np.append(s.drive, np.zeros(N - n))
    return Sounding(s, around, coupling, model, stored, moving, drive, lowest)


def lowest_air_resonance(coupled):
    """Frequency [Hz] of the mode in which the openings' air holds most of the moving energy."""
    return float(coupled.frequency[np.argmax(coupled.kinetic_share["openings"])])


def sounding_body(body, model, sections, found, highest=HIGHEST):
    """Sounding of one Body: every step above, with the boundary elements' ten frequencies."""
    structure, around = structure_of(body, model, sections, found), surroundings(body, highest)
    return sounding(structure, around, outside(around.surface, [velocities(structure, around)])[0])


# --- modes of the held body ---


@dataclass(frozen=True)
class SoundingModes:
    """Air-loaded modes of a held body, ascending. Every group of shares sums to 1 per mode."""

    frequency: np.ndarray  # (m,) Hz
    loss_factor: np.ndarray  # (m,)
    shape: np.ndarray = field(repr=False)  # (N, m) complex
    potential_share: dict[str, np.ndarray]  # structure parts, 'air', 'supports'
    kinetic_share: dict[str, np.ndarray]  # structure parts, 'air' (outside included), 'opening'
    loss_share: dict[str, np.ndarray]  # structure parts, 'air' (warmth), 'air_rubbing', openings, supports, 'radiation'
    rigid_share: np.ndarray  # (m,) of the moving energy in rigid motions

    @property
    def air_share(self):
        """(m,) of the whole energy: mean of the potential and kinetic shares."""
        return (self.potential_share[AIR] + self.kinetic_share[AIR]) / 2

    @property
    def elastic(self):
        """(m,) bool: modes of the body, not of its supports."""
        return self.rigid_share < SUPPORT_MODE


def modes_of(sounding, held, lowest=0.05, highest=None):
    """SoundingModes of a Sounding whose model, supports joined to it, is `held`; up to `highest` [Hz], by default as
    far as it is valid.
    """
    highest = highest or min(sounding.structure.valid_to, HIGHEST)
    c = _complex_modes(sounding, held, lowest, highest)
    energy = lambda A: np.real(np.einsum("im,ij,jm->m", c.shape.conj(), A, c.shape, optimize=True))
    stored = {part: energy(A) for part, A in sounding.stored.items()}
    stored[SUPPORTS] = energy(held.stiffness - sounding.model.stiffness)
    moving = {part: energy(A) for part, A in sounding.moving.items()}
    if held.radiation is not None:
        added = added_mass_at(held.radiation, 2 * np.pi * c.frequency)
        moving[AIR] = moving[AIR] + np.real(np.einsum("im,mij,jm->m", c.shape.conj(), added, c.shape))
    share = lambda parts: {part: e / sum(parts.values()) for part, e in parts.items()}
    rigid = np.sum(np.abs(c.shape[:RIGID]) ** 2, axis=0) / sum(moving.values())
    loss = {part: e / c.loss_factor for part, e in c.part_loss.items()}
    return SoundingModes(c.frequency, c.loss_factor, c.shape, share(stored), share(moving), loss, rigid)


def _complex_modes(sounding, held, lowest, highest):
    """complex_modes in runs, so that each starts from losses as in its own range: the six lowest modes, which are the
    supports' or nearly so, then the rest, cut at its widest gap again where a run cannot tell two modes apart.
    """
    f = undamped_modes(held, sounding.lowest_hz)[0] / (2 * np.pi)
    f = f[f > lowest]
    split = float(np.sqrt(f[RIGID - 1] * f[RIGID]))
    runs = [*_runs(held, f, lowest, split), *_runs(held, f, split, highest)]
    order = np.argsort(np.concatenate([run.frequency for run in runs]))
    join = lambda name: np.concatenate([getattr(run, name) for run in runs], axis=-1)[..., order]
    part_loss = {part: np.concatenate([run.part_loss[part] for run in runs])[order] for part in runs[-1].part_loss}
    frequency, shape = join("frequency"), join("shape")
    again = np.isclose(frequency[1:], frequency[:-1], rtol=1e-7)  # found from both sides of a cut
    again &= np.abs(np.sum(shape[:, 1:].conj() * shape[:, :-1], axis=0)) > 1 - 1e-6
    once = np.append(True, ~again)
    return ComplexModes(
        frequency[once], join("loss_factor")[once], shape[:, once], {p: v[once] for p, v in part_loss.items()},
        join("residual")[once],
    )  # fmt: skip


def _runs(held, f, low, high):
    """[ComplexModes] between two frequencies [Hz]; f are the undamped ones."""
    try:
        found = complex_modes(held, low, high)
        return [found] if len(found.frequency) else []
    except ArithmeticError:
        inside = f[(f > low) & (f < high)]
        if len(inside) < 4:
            raise
        k = len(inside) // 4 + np.argmax(np.diff(np.log(inside))[len(inside) // 4 : -(len(inside) // 4) or None])
        cut = float(np.sqrt(inside[k] * inside[k + 1]))
        return [*_runs(held, f, low, cut), *_runs(held, f, cut, high)]


def real_modes(sounding, held):
    """omega (m,) [rad/s] and shape (N, m) of the held body without losses; motions that store nothing are left out."""
    omega, shape = undamped_modes(held, sounding.lowest_hz)
    keep = omega > 1e-6 * omega.max()
    return omega[keep], shape[:, keep]
