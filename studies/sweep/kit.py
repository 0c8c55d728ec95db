"""What a night needs before its first row: bodies, meshes, cells, and a reduced model for each mesh and build of the rim."""

from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np

from meshes.build import mesh_body
from studies.common.kept import fingerprint
from studies.sweep.air import air_of
from studies.sweep.basis import SPANNING, mixed, reduced_model
from studies.sweep.bodies import body_at, find_moves, fingerprint_of, moved, moves_at, same_body, variant_build
from studies.sweep.cells import point_of, slow_pieces
from studies.sweep.rows import MODEL_VERSION
from studies.sweep.sections import quick_sections

ENOUGH = 16  # variants of one family for which a reduced basis pays
MOST_GROUNDS = 12  # sheets read beforehand; with more, every variant is solved in full
TRIED = 4  # variants of each ground whose body is read afresh to prove the quick way


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
        (mesh, rim), spanning = name, [sections_of(kit, mine[i]) for i in mixed(len(mine), SPANNING)]
        body, of = grounds[kit.ground_key(mine[0])].body, f" ({rim})" if rim else ""
        model, V, merged[name], saddle[name], more = reduced_model(
            night.plan, body, meshes[mesh], spanning, folder, lambda text, of=of: say(text + of)
        )
        told += [line + of for line in more]
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
