"""What a sweep needs before its first row: bodies, meshes, cells, reduced models and their air."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from fem.mesh import ShellMesh
from meshes.body import Body
from meshes.build import mesh_body
from studies.common.kept import fingerprint
from studies.common.progress import duration
from studies.sweep.basis import SPANNING, ReducedModel, mixed, reduced_model
from studies.sweep.bodies import body_at
from studies.sweep.cells import SlowPiece, slow_pieces
from studies.sweep.design import Variant
from studies.sweep.kit import BaseGeometry, Kit, sections_of
from studies.sweep.maps import ParameterMaps, Say, maps_at, parameter_maps, same_body, with_values
from studies.sweep.plan import Sweep
from studies.sweep.sections import Slow

ENOUGH = 16  # variants of one family for which a reduced basis pays
MOST_GEOMETRIES = 12  # sheets read beforehand; with more, every variant is solved in full
IN_FULL, AIR = 5.0, 20.0  # s of one core: a variant of an example guitar on a mesh of 60 mm, and its air besides
PACE = {False: 5000, True: 300}  # rows a minute of a reduced model on two cores; True: with air and plucked notes
TRIED = 4  # variants of each geometry whose body is read afresh to prove the quick way


def ready_kit(
    sweep: Sweep,
    variants: list[Variant],
    folder: Path,
    cells: Callable[[list[SlowPiece]], list[Slow]],
    say: Say = lambda text: None,
) -> Kit:
    """Kit for the variants. cells gives the sections of linings and joints, in order, wherever they are computed."""
    kit = Kit(sweep, parameter_maps(sweep, body_at(sweep, {}), say))
    count = len(set(map(kit.remade, variants)))
    if count > MOST_GEOMETRIES:
        say(
            f"{', '.join(kit.maps.remade)}: {count} different meshes or sheets, so every variant is solved in full, {in_full(sweep, len(variants))}. "
            f"With at most {MOST_GEOMETRIES} levels in place of a range, and {ENOUGH} variants of each, each gets a reduced model"
        )
        return kit
    kit, meshes = with_geometries(kit, variants, say)
    families = [name for name, n in Counter(map(kit.family, variants)).items() if name[0] and n >= ENOUGH]
    served = [v for v in variants if kit.family(v) in families]
    if rest := len(variants) - len(served):
        few = f"{rest} variants of meshes or rim builds with fewer than {ENOUGH} variants each are solved in full"
        say(f"{few}, {in_full(sweep, rest)}")
    if served:
        say(
            f"{len(served)} variants by {len(families)} reduced model{'s' * (len(families) > 1)}: some minutes each for the full solves of one "
            f"that is not kept, then about {duration(60 * len(served) / PACE[sweep.plan.plucked])} on two cores for their rows"
        )
    slow, constant, told = slow_pieces(kit, served, cells, say)
    kit = replace(kit, slow=slow, constant=constant)
    of_family = {family: [v for v in served if kit.family(v) == family] for family in families}
    models = {family: reduced_of(kit, mine, meshes[family[0]], folder, say) for family, mine in of_family.items()}
    return replace(kit, models=models, words=(*kit.words, *told, *(model.words for model in models.values())))


def in_full(sweep: Sweep, count: int) -> str:
    """How long so many variants take in full, and why."""
    seconds = IN_FULL * (60 / sweep.plan.mesh_size_mm) ** 2 + AIR * sweep.plan.plucked
    also = ", the air inside and out," if sweep.plan.plucked else ""
    return (
        f"some {seconds:.0f} s each for its own modes{also} and seconds more for each lining and joint that is new: "
        f"{duration(count * seconds)} or more on one core, less on several"
    )


def with_geometries(kit: Kit, variants: list[Variant], say: Say) -> tuple[Kit, dict[str, ShellMesh]]:
    """The Kit with the geometries of the variants for which the quick way is right, and their meshes by fingerprint."""
    meshes: dict[str, ShellMesh] = {}
    geometries, words = {}, []
    for values, count in Counter(map(kit.remade, variants)).items():
        say("meshing")
        remade = dict(zip(kit.maps.remade, values))
        body, maps = body_at(kit.sweep, remade), maps_at(kit.sweep, kit.maps, remade)
        if maps is None or not quick_is_right(kit.sweep, body, maps, [v for v in variants if kit.remade(v) == values]):
            words.append(f"factors act together in a way that needs the sheet read afresh: {count} variants in full")
            continue
        mesh = mesh_body(body, kit.sweep.plan.mesh_size_mm / 1e3)
        name = fingerprint(mesh)
        meshes.setdefault(name, mesh)
        geometries[values] = BaseGeometry(body, maps, name)
    return replace(kit, geometries=geometries, words=tuple(words)), meshes


def quick_is_right(sweep: Sweep, body: Body, maps: ParameterMaps, variants: list[Variant]) -> bool:
    """Whether the quick way gives the body of the sheet read afresh, tried on some of the variants."""
    some = [variants[i] for i in np.unique(np.linspace(0, len(variants) - 1, TRIED).round().astype(int))]
    return all(same_body(with_values(body, maps, v.values), body_at(sweep, v.values)) for v in some)


def reduced_of(kit: Kit, variants: list[Variant], mesh: ShellMesh, folder: Path, say: Say) -> ReducedModel:
    """The reduced model, with air where strings are plucked, that serves the variants of a family."""
    rim = kit.family(variants[0])[1]
    of = f" ({rim})" if rim else ""
    spanning = [sections_of(kit, variants[i]) for i in mixed(len(variants), SPANNING)]
    first = {(kit.remade(v), v.rim): v for v in reversed(variants) if kit.sweep.plan.plucked}
    bodies = {where: kit.build(v).body for where, v in first.items()}
    body = kit.geometry(variants[0]).body
    model = reduced_model(kit.sweep.plan, body, mesh, spanning, bodies, folder, lambda text: say(text + of))
    return replace(model, words=model.words + of)
