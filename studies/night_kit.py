"""What a night needs before its first row: bodies, meshes, cells, and a reduced model for each mesh with many variants."""

import itertools
from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np

from fem.merged_terms import merge
from fem.model import assemble, weights
from fem.reduce import Greedy, greedy, reduce, smallest
from meshes.build import mesh_body
from meshes.sounding_basis import saddle_bending
from studies.fingerprint import fingerprint
from studies.night_air import air_of
from studies.night_bodies import body_at, find_moves, fingerprint_of, moved, moves_at, same_body, variant_build
from studies.night_design import Variant
from studies.night_plan import extremes
from studies.night_sections import (
    REACH,
    SLOW,
    Tabulated,
    cell_points,
    cheap,
    fit,
    inputs,
    quick_sections,
    slow_section,
    unchanged,
)

MODEL_VERSION = 3  # raise whenever a row may change
ENOUGH = 16  # variants of one family for which a reduced basis pays
MOST_GROUNDS = 12  # sheets read beforehand; with more, every variant is solved in full
TRIED = 4  # variants of each ground whose body is read afresh to prove the quick way
SPANNING = 200  # variants that the basis, and the merging of terms, are made from
AIM = 0.7  # of the plan's tolerance, for the spanning variants: those between them are worse


@dataclass(frozen=True)
class Ground:
    """A body at one set of remade factors, how the quick ones move it, and the fingerprint of its mesh."""

    body: object
    moves: object
    mesh: str


@dataclass(frozen=True)
class Kit:
    """Everything that a worker needs; travels by pickle."""

    night: object
    moves: object
    grounds: dict  # {values of the remade factors (tuple): Ground}; empty: all in full
    slow: dict  # {(values, rim): {piece: Tabulated or Fitted}}
    constant: dict  # {(values, rim): {function: its sections}} that the plan does not change
    merged: dict  # {family: Merged}
    saddle: dict  # {family: (r,) the basis at the saddle's middle}
    outside: dict = field(default_factory=dict)  # {family: SoundingBasis}, of nights with strings
    inside: dict = field(default_factory=dict)  # {(values, rim): Enclosed}
    words: tuple[str, ...] = ()  # what was done, for the log

    def ground_key(self, variant):
        return tuple(variant.values[name] for name in self.moves.remade)

    def family(self, variant):
        """Name of the reduced model for a variant, None without a mesh: one for each mesh and build of the rim.

        A small basis is a fast one. With strings one for each mesh, since its air outside costs more than full solves.
        """
        ground = self.grounds.get(self.ground_key(variant))
        return ground and (ground.mesh, "" if self.night.plan.plucked else variant.rim)

    def reduced(self, variant):
        """Whether a reduced model serves this variant."""
        return self.family(variant) in self.merged


def sheet_print(night):
    """Fingerprint of the body that the base sheet describes; comments and the order of keys do not count."""
    body = body_at(night, {})
    return fingerprint(replace(body, assumed=(), warnings=()))


def row_key(night, sheet, variant):
    """Key of a variant's row: everything that its numbers depend on. sheet: sheet_print(night)."""
    written = {
        key: night.base[key] * variant.values[f.name] if f.times else variant.values[f.name]
        for f in night.plan.factor
        for key in f.keys
    }
    plan = night.plan
    strings = (night.strings, night.notes_at, night.pluck, plan.sustain.held) if plan.plucked else ()
    return fingerprint(
        MODEL_VERSION, sheet, written, variant.draws, variant.rim, plan.mesh_size_mm, plan.modes, list(plan.outputs),
        *strings,
    )  # fmt: skip


def prepare(night, variants, folder, cells, say=lambda text: None):
    """Kit for the variants. cells(items) yields the sections of [(body, piece)], in order, wherever they are computed."""
    moves = find_moves(night, body_at(night, {}), say)
    kit = Kit(night, moves, {}, {}, {}, {}, {})
    counts = Counter(map(kit.ground_key, variants))
    if len(counts) > MOST_GROUNDS:
        words = (
            f"{', '.join(moves.remade)}: {len(counts)} different meshes or sheets, so every variant is solved in full: some seconds "
            f"each. With at most {MOST_GROUNDS} levels in place of a range each gets a reduced model",
        )
        return replace(kit, words=words)
    size = night.plan.mesh_size_mm / 1e3
    meshes, grounds, words = {}, {}, []
    for values in counts:
        say("meshing")
        remade = dict(zip(moves.remade, values))
        ground = Ground(body_at(night, remade), moves_at(night, moves, remade), "")
        if ground.moves is None or not quick_is_right(
            night, ground, [v for v in variants if kit.ground_key(v) == values]
        ):
            words.append(
                f"factors act together in a way that needs the sheet read afresh: {counts[values]} variants in full"
            )
            continue
        mesh = mesh_body(ground.body, size)
        name = fingerprint_of(mesh)
        meshes.setdefault(name, mesh)
        grounds[values] = replace(ground, mesh=name)
    kit = replace(kit, grounds=grounds)
    large = [name for name, n in Counter(map(kit.family, variants)).items() if name and n >= ENOUGH]
    served = [v for v in variants if kit.family(v) in large]
    slow, constant, told = slow_pieces(kit, served, cells, say)
    kit = replace(kit, slow=slow, constant=constant)
    merged, saddle, outside, inside = {}, {}, {}, {}
    for name in large:
        mine = [v for v in served if kit.family(v) == name]
        model, V, merged[name], saddle[name], more = reduced_model(kit, mine, meshes[name[0]], folder, say)
        told += more
        if night.plan.plucked:
            made = {(kit.ground_key(v), v.rim): v for v in reversed(mine)}
            made = {at: variant_build(grounds[at[0]].body, grounds[at[0]].moves, v).body for at, v in made.items()}
            outside[name], within = air_of(made, model.space, V, folder, say, MODEL_VERSION)
            inside |= within
    if (rest := len(variants) - len(served)) > 0:
        words.append(
            f"{rest} variants of meshes or rim builds with fewer than {ENOUGH} variants each are solved in full"
        )
    return replace(kit, merged=merged, saddle=saddle, outside=outside, inside=inside, words=(*words, *told))


def quick_is_right(night, ground, variants):
    """Whether the quick way gives the body of the sheet read afresh, tried on some of the variants."""
    some = [variants[i] for i in np.unique(np.linspace(0, len(variants) - 1, TRIED).round().astype(int))]
    return all(same_body(moved(ground.body, ground.moves, v.values), body_at(night, v.values)) for v in some)


def sections_of(kit, variant):
    """{region: Section} of a variant by tables and fits."""
    key = kit.ground_key(variant)
    build = variant_build(kit.grounds[key].body, kit.grounds[key].moves, variant)
    where = key, variant.rim
    return quick_sections(build, kit.slow[where], point_of(kit.night.plan, variant), kit.constant[where])


# --- cells ---


def point_of(plan, variant):
    """{coordinate: value}: a factor by its name, a draw by (board, 0..3); boards of one plank count once."""
    point = {f.name: variant.values[f.name] for f in plan.factor}
    for s in plan.scatter:
        for board in s.boards[: 1 if s.correlation == 1 else None]:
            point |= {(board, k): float(z) for k, z in enumerate(variant.draws[board])}
    return point


def axes_of(plan, moves):
    """((coordinate, middle, half range), ...) of all that varies without remaking the body."""
    found = []
    for f in plan.factor:
        if f.name in moves.quick:
            low, high = extremes(f)
            found.append((f.name, (low + high) / 2, (high - low) / 2))
    for s in plan.scatter:
        boards = s.boards[: 1 if s.correlation == 1 else None]
        found += [((board, k), 0.0, REACH) for board in boards for k in range(4)]
    return tuple(found)


def variant_at(plan, base, axes, x):
    """A Variant like `base` whose coordinates stand at x (d,) in -1..1."""
    values, draws = dict(base.values), {b: np.zeros(4) for s in plan.scatter for b in s.boards}
    for (name, middle, half), t in zip(axes, x):
        if isinstance(name, str):
            values[name] = middle + half * t
        else:
            plank = next((s.boards for s in plan.scatter if s.correlation == 1 and name[0] in s.boards), (name[0],))
            for board in plank:
                draws[board] = draws[board].copy()
                draws[board][name[1]] = half * t
    return Variant(-1, -1, values, draws, base.rim)


def slow_pieces(kit, variants, cells, say):
    """({(values, rim): {piece: Tabulated or Fitted}}, {(values, rim): what does not change}, words on the fits)."""
    plan = kit.night.plan
    axes = axes_of(plan, kit.moves)
    plans, todo, constant = [], [], {}
    for key, rim in dict.fromkeys((kit.ground_key(v), v.rim) for v in variants):
        mine = [v for v in variants if (kit.ground_key(v), v.rim) == (key, rim)]
        body_of = lambda v, key=key: variant_build(kit.grounds[key].body, kit.moves, v).body
        start = body_of(variant_at(plan, mine[0], axes, np.zeros(len(axes))))
        ends = [body_of(variant_at(plan, mine[0], axes, x)) for x in (*np.eye(len(axes)), *-np.eye(len(axes)))]
        constant[key, rim] = unchanged(start, ends)
        for piece in SLOW:
            if cheap(start, piece):
                continue
            say(f"what {piece.replace('_', ' ')} depends on ({rim})")
            job = _job(plan, axes, mine, body_of, start, ends, piece)
            plans.append((key, rim, piece, *job))
            todo += [(body, piece) for body in job[0]]
    found = iter(cells(todo))
    slow, words = {(kit.ground_key(v), v.rim): {} for v in variants}, []
    for key, rim, piece, bodies, points, own in plans:
        sections = list(itertools.islice(found, len(bodies)))
        if points is None:
            slow[key, rim][piece] = Tabulated({inputs(b, piece): s for b, s in zip(bodies, sections)})
        else:
            made = fit(points, sections, own)
            slow[key, rim][piece] = made
            words.append(
                f"{piece.replace('_', ' ')} ({rim}): fitted to {len(bodies)} cells in {len(own)} coordinates, "
                f"off by {100 * made.error:.2g} % of the largest value (rms, each cell left out in turn)"
            )
    return slow, constant, words


def _job(plan, axes, variants, body_of, start, ends, piece):
    """(bodies whose cells are needed, points or None for a table, axes that matter)."""
    own, name = [], inputs(start, piece)
    for axis, low, high in zip(axes, ends, ends[len(axes) :]):
        if any(inputs(body, piece) != name for body in (low, high)):
            own.append(axis)
    if plan.accuracy.cells == 1:
        middle = variant_at(plan, variants[0], axes, np.zeros(len(axes)))
        return [body_of(replace(middle, draws={}))], None, own
    names = [axis[0] for axis in own]
    distinct = {}
    for v in variants:
        point = point_of(plan, v)
        distinct.setdefault(tuple(point[n] for n in names), v)
        if len(distinct) > plan.accuracy.cells:
            break
    if len(distinct) <= plan.accuracy.cells:
        return [body_of(v) for v in distinct.values()], None, own
    points = cell_points(len(own), plan.accuracy.cells, np.array([not isinstance(n, str) for n in names]))
    return [body_of(variant_at(plan, variants[0], own, x)) for x in points], points, own


class Cells:
    """Computes sections of linings and joints; given to the workers."""

    def work(self, item):
        """Section of (body, piece)."""
        return slow_section(*item)


# --- reduced model ---


def reduced_model(kit, variants, mesh, folder, say):
    """(Model, basis V, Merged, the basis at the saddle (r,), words) for the variants of one family.

    The basis is kept in the folder.
    """
    plan = kit.night.plan
    model = assemble(mesh)
    pick = mixed(len(variants), SPANNING)
    sections = [sections_of(kit, variants[i]) for i in pick]
    samples = [weights(s) for s in sections]
    want = (plan.modes, AIM * plan.accuracy.estimate, plan.accuracy.basis)
    table = [[list(key), value] for w in samples for key, value in sorted(w.items())]
    body = kit.grounds[kit.ground_key(variants[0])].body
    also = (lambda w, modes: saddle_bending(body, model, w, modes)) if plan.plucked else None
    bent = ("bent at the saddle",) if plan.plucked else ()
    file = folder / f"basis-{fingerprint(MODEL_VERSION, mesh, table, list(want), *bent)}.npz"
    found = load_basis(file)
    if found is None:
        found = greedy(model, samples, *want, say=say, also=also)
        save_basis(file, found)
    say("projecting")
    reduced = reduce(model, found.V, found.Z)
    whole = reduced.size
    if not plan.plucked:  # strings want more than the estimate tells
        reduced = smallest(reduced, samples, *want[:2])
    cut = f", cut to {reduced.size}" if reduced.size < whole else ""
    V, at = found.V[:, : reduced.size], saddle_node(model, body)
    words = (
        f"reduced basis of {whole} from {len(found.solved)} full solves of {model.size} unknowns; largest estimate "
        f"over {len(samples)} variants {min(found.worst):.2g} (first {found.worst[0]:.2g}){cut}",
    )
    return model, V, merge(reduced, sections), V[6 * at + 2].copy(), words


def mixed(n, count):
    """Sorted indices of `count` of n variants (all, where there are no more), the first among them.

    At random: even steps would leave out whole rim builds, which take turns in the order of the variants.
    """
    return np.sort(np.r_[0, 1 + np.random.default_rng(0).permutation(n - 1)[: count - 1]])


def saddle_node(model, body):
    """Shape-function node of the top nearest to the saddle's middle."""
    x, y, _ = model.space.points.T
    top = model.space.nodes_of("top")
    return top[np.argmin(np.hypot(x[top] - body.bridge.saddle_x, y[top] - body.bridge.centre[1]))]


def save_basis(file, found):
    """Write under another name first: a file that exists is whole."""
    draft = file.with_suffix(".part")
    with draft.open("wb") as stream:
        np.savez(stream, V=found.V, Z=found.Z, solved=found.solved, worst=found.worst)
    draft.replace(file)


def load_basis(file):
    """The stored Greedy, or None if there is none that can be read."""
    try:
        with np.load(file) as data:
            return Greedy(data["V"], data["Z"], tuple(data["solved"].tolist()), tuple(data["worst"].tolist()))
    except (OSError, ValueError, KeyError, EOFError):
        return None
