"""What a sweep needs before its first row: bodies, meshes, cells, reduced models and their air."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from fem.mesh import ShellMesh
from fem.sections import Section
from meshes.body import Body
from meshes.build import mesh_body
from studies.common.kept import fingerprint
from studies.sweep.air import air_of
from studies.sweep.basis import SPANNING, mixed, reduced_model
from studies.sweep.bodies import body_at
from studies.sweep.cells import SlowPiece, slow_pieces
from studies.sweep.design import Variant
from studies.sweep.kit import BaseGeometry, Family, Kit, sections_of
from studies.sweep.maps import ParameterMaps, Say, maps_at, parameter_maps, same_body, with_values
from studies.sweep.plan import Sweep

ENOUGH = 16  # variants of one family for which a reduced basis pays
MOST_GEOMETRIES = 12  # sheets read beforehand; with more, every variant is solved in full
TRIED = 4  # variants of each geometry whose body is read afresh to prove the quick way


def prepare(
    sweep: Sweep,
    variants: list[Variant],
    folder: Path,
    cells: Callable[[list[SlowPiece]], list[Section]],
    say: Say = lambda text: None,
) -> Kit:
    """Kit for the variants. cells gives the sections of linings and joints, in order, wherever they are computed."""
    kit = Kit(sweep, parameter_maps(sweep, body_at(sweep, {}), say))
    count = len(set(map(kit.remade, variants)))
    if count > MOST_GEOMETRIES:
        words = (
            f"{', '.join(kit.maps.remade)}: {count} different meshes or sheets, so every variant is solved in full: some seconds "
            f"each. With at most {MOST_GEOMETRIES} levels in place of a range each gets a reduced model",
        )
        return replace(kit, words=words)
    kit, meshes = with_geometries(kit, variants, say)
    families = [name for name, n in Counter(map(kit.family, variants)).items() if name[0] and n >= ENOUGH]
    served = [v for v in variants if kit.family(v) in families]
    slow, constant, told = slow_pieces(kit, served, cells, say)
    kit = replace(kit, slow=slow, constant=constant)
    for family in families:
        mine = [v for v in served if kit.family(v) == family]
        kit, more = with_reduced(kit, family, mine, meshes[family[0]], folder, say)
        told += more
    rest = len(variants) - len(served)
    few = f"{rest} variants of meshes or rim builds with fewer than {ENOUGH} variants each are solved in full"
    return replace(kit, words=(*kit.words, *([few] if rest else []), *told))


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


def with_reduced(
    kit: Kit, family: Family, variants: list[Variant], mesh: ShellMesh, folder: Path, say: Say
) -> tuple[Kit, list[str]]:
    """The Kit with the reduced model, and the air, that serves the variants of a family, and words on it."""
    of = f" ({family[1]})" if family[1] else ""
    spanning = [sections_of(kit, variants[i]) for i in mixed(len(variants), SPANNING)]
    body = kit.geometry(variants[0]).body
    made = reduced_model(kit.sweep.plan, body, mesh, spanning, folder, lambda text: say(text + of))
    merged, saddle = kit.merged | {family: made.merged}, kit.saddle | {family: made.saddle}
    kit = replace(kit, merged=merged, saddle=saddle)
    if kit.sweep.plan.plucked:
        first = {(kit.remade(v), v.rim): v for v in reversed(variants)}
        bodies = {at: kit.body(v) for at, v in first.items()}
        outside, inside = air_of(bodies, made.model.space, made.V, folder, say)
        kit = replace(kit, outside=kit.outside | ({family: outside} if outside else {}), inside=kit.inside | inside)
    return kit, [made.words + of]
