"""What is computed for a stage, as it was held."""

from dataclasses import replace
from pathlib import Path

from fem.eigen import modes
from fem.energies import energies
from fem.model import assemble, weights
from meshes.body import Body
from meshes.open_rim import mesh_loose_plate, mesh_open_rim, sections_on
from meshes.parts import sections
from meshes.supports import FREE, LAP
from studies.common.builds import builds, complete_linings
from studies.solved.answer import ask
from studies.solved.coupled import one_coupled
from studies.solved.level import prepare
from studies.tap.pairs import by_chance, tone_partners
from studies.tap.result import MODE, Computed, StageRead

COUNT = 30  # modes of a plate or a rim
SUPPORTS = {"free": FREE, "lap": LAP}


def with_computed(read: StageRead, body: Body, held: str, size: float, store: Path) -> StageRead:
    """The StageRead with computed modes up to a little above its range, and partners of its modes."""
    if not read.stage.computed:
        return read
    computed = tuple(
        c for c in computed_modes(read.name, body, held, size, store) if c.frequency < 1.15 * read.frequency[-1]
    )
    tones = [h.pole.frequency for h in read.modes]
    modes_hz, radiated = [c.frequency for c in computed], [c.radiated_share for c in computed]
    partners = iter(tone_partners(tones, modes_hz, radiated))
    heard = tuple(replace(h, partner=next(partners)) if h.kind == MODE else h for h in read.heard)
    chance = by_chance(tones, modes_hz, radiated) if len(tones) > 1 else None
    return replace(read, heard=heard, computed=computed, chance=chance)


def computed_modes(name: str, body: Body, held: str, size: float, store: Path) -> list[Computed]:
    """[Computed] of a stage of STAGES that has a model, ascending."""
    body = complete_linings(body)[0]
    if name == "closed-box":
        return box_modes(replace(body, neck=None), held, size, store)
    if name == "strung":
        return box_modes(body, held, size, store)
    mesh = (
        mesh_open_rim(body, size) if name == "open-rim" else mesh_loose_plate(body, name.removeprefix("braced-"), size)
    )
    parts, model = sections_on(mesh, sections(replace(body, neck=None))), assemble(mesh)
    found = modes(model, weights(parts), COUNT)
    loss = energies(model, parts, found.shape).loss_factor
    return [Computed(float(f), None if loss is None else float(loss[k])) for k, f in enumerate(found.frequency)]


def box_modes(body: Body, held: str, size: float, store: Path) -> list[Computed]:
    """[Computed] of a body with air, hung 'free' or on the 'lap'; modes of its supports left out."""
    from studies.modes.air import words_of

    own = builds(body)[0]
    answer = ask(one_coupled(own, prepare(body, size, store)), SUPPORTS[held])
    found, told = answer.modes.of_body, words_of(answer)
    radiated = found.loss_share["radiation"]
    return [
        Computed(float(f), float(found.loss_factor[k]), float(radiated[k]), told[k])
        for k, f in enumerate(found.frequency)
    ]
