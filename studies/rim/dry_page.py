"""The dry rim study as a page and tables for machines."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path

import numpy as np

from meshes.describe import wood_notes
from meshes.joints import joint_of
from meshes.parts import RIM
from studies.common import cautions
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.first_screen import FirstScreen
from studies.common.groups import largest
from studies.common.machine import plain
from studies.common.measured import as_dict
from studies.common.mesh_error import FACETS, MESH_ERROR, known
from studies.common.page import Written, captioned, drawn_or_told, write_first
from studies.common.summary import write_summary
from studies.drawing.apart import drawn_apart
from studies.drawing.captions import Caption
from studies.drawing.mode_names import names
from studies.drawing.mode_pictures import Look, Shapes, pictures_of_modes
from studies.drawing.picture import PNG, Picture, Shot
from studies.rim.dry import frequencies, heat_in_rim, modes_told, stored_in_rim
from studies.rim.dry_screen import ring_screen
from studies.rim.dry_words import LABEL, answer, headline, longer
from studies.rim.result import DryStudy

NOT_MODELLED = (
    "the enclosed air, sound radiated, strings and their tension, the player's arm and lap",
    "crack-stopping by the bars on the sides, the risk that a block splits, sealing of end grain, heat and creep of glue lines",
    "finish, purfling, fret wires, the weight of bindings (their stiffness counts in the joints only)",
)


DRAWN = 12  # modes


def per_mode(study: DryStudy) -> Iterator[dict[str, Plain]]:
    """One dict per build and mode of the base: frequencies, shifts, errors, and shares, those of close modes as one."""
    own, modes = study.comparisons[0].row, study.followed
    words = names(study.space, own.found.shape[:, : study.count])
    for c in study.comparisons:
        in_rim = heat_in_rim(c.row)
        split, hertz = c.row.split, modes_told(study, c, frequencies, share=False)
        heat, stored = (modes_told(study, c, of) for of in (heat_in_rim, stored_in_rim))
        for k, p in enumerate(c.partner):
            percent, loss, lossless = 100 / frequencies(own)[k], None, None
            if p >= 0 and split.loss_factor is not None and in_rim is not None:
                loss = float(split.loss_factor[p])
                lossless = loss * (1 - float(in_rim[p]))
            yield {
                "build": c.row.build.name, "mode": k + 1,
                "frequency_hz": known(hertz.value[k]), "frequency_error_hz": known(hertz.error[k]),
                "shift_percent": known(percent * hertz.change[k]), "shift_error_percent": known(percent * hertz.change_error[k]),
                "assurance": float(c.match[k]), "judged_with": judged_with(modes.group, k),
                "heat_in_rim": known(heat.value[k]), "heat_in_rim_error": known(heat.error[k]),
                "loss_factor": loss, "loss_factor_rim_without_loss": lossless,
                "stored_in_rim": known(stored.value[k]), "stored_in_rim_error": known(stored.error[k]),
                "moves_most": largest(split.kinetic_share, p) if p >= 0 else None,
                "moves": words[k] if c.row is own else None,
            }  # fmt: skip


def judged_with(group: np.ndarray, k: int) -> str:
    """'4 5': numbers of the close modes whose shares are told as one with those of mode k; '' for none."""
    close = np.flatnonzero(group == group[k]) + 1
    return " ".join(map(str, close)) if len(close) > 1 else ""


def as_json(study: DryStudy, first: FirstScreen, by_mode: Sequence[Mapping[str, Plain]]) -> dict[str, Plain]:
    """The whole study for machines; by_mode: as per_mode tells them."""
    by_part = lambda shares: shares and {part: plain(v) for part, v in shares.items()}
    rows = [
        {
            **head, "mass_kg": row.mass, "frequency_hz": plain(row.found.frequency), "residual": plain(row.found.residual),
            "strain_energy_share": by_part(split.strain_share), "kinetic_energy_share": by_part(split.kinetic_share),
            "heat_share": by_part(split.dissipated_share),
            "loss_factor": None if split.loss_factor is None else plain(split.loss_factor),
        }
        for head, row, split in ((head, c.row, c.row.split) for head, c in zip(headline(study), study.comparisons))
    ]  # fmt: skip
    about = About(
        study.body,
        "dry",
        LABEL,
        MESH_ERROR,
        NOT_MODELLED,
        provenance(study.source, (study.size, FACETS * study.size), study.unknowns),
    )
    return told(about, {
        "first_screen": first.as_json, "builds": rows, "modes": list(by_mode), "woods": wood_notes(study.body),
        "measured": [as_dict(b) for b in study.measured],
        "joints": [joint_of(study.body, plate).words for plate in ("top", "back")],
    })  # fmt: skip


def write_dry_figures(study: DryStudy, out: Path, beside: str | None = None) -> Written:
    """Write the page without pictures, rim.csv and rim.json into the folder `out`.

    beside: name of the page with air, which then is the first one, and this one is dry.html.
    """
    modes, page = list(per_mode(study)), out / ("dry.html" if beside else "index.html")
    first = ring_screen(study)
    data = as_json(study, first, modes)
    machine, table = write_json(out / "rim.json", data), write_table(out / "rim.csv", modes)
    by_mode: dict[Plain, dict[Plain, Mapping[str, Plain]]] = {}
    for item in modes:
        by_mode.setdefault(item["mode"], {})[item["build"]] = item
    dissipated = study.comparisons[0].row.split.dissipated_share or {}
    parts = {part: dissipated[part] for part in RIM if part in dissipated}
    title = f"{study.body.name}: the dry box, what its rim stores and turns to heat"
    summary = [] if beside else [write_summary(first, title, study.source, out)]
    return write_first((page, table, machine, *summary), "rim/dry_page.html.j2", {
        "source": study.source, "title": title, "first": first,
        "data": data, "by_mode": by_mode, "answer": answer(study), "cautions": cautions.RIM, "longer": longer,
        "parts": parts, "beside": beside, "measured": study.measured,
    }, [])  # fmt: skip


def add_dry_pictures(page: Written, out: Path, drawn: Iterable[list[Path]]) -> None:
    """Write the page again with the pictures drawn, lists of their files; a fault on the way leaves those before it."""
    found: list[Path] = []

    def gather():
        for files in drawn:
            found.extend(files)

    fault = drawn_or_told(gather)
    page.again(captioned(light(found), out, 1), fault)


def write_report(
    study: DryStudy,
    out: Path,
    pictures: bool = True,
    say: Callable[[str], None] = lambda text: None,
    beside: str | None = None,
) -> list[Path]:
    """Write the page, rim.csv, rim.json and the pictures into the folder `out`; returns the paths written; beside: as above."""
    page = write_dry_figures(study, out, beside)
    if pictures:
        with drawn_apart(partial(pictures_of, study, out), apart=False) as drawn:
            add_dry_pictures(page, out, drawn(say))
    return list(page.files)


def light(drawn: Iterable[Path]) -> list[Path]:
    """The pictures for the page: the contact sheet, then the others."""
    return sorted((p for p in drawn if p.suffix == ".png"), key=lambda p: ("contact" not in p.name, p.name))


def pictures_of(study: DryStudy, out: Path) -> Sequence[Picture | Shot]:
    """Pictures of the sheet's own modes for the page in the folder `out`; `rimwork pictures` makes those for print."""
    own, count = study.comparisons[0], min(DRAWN, study.count)
    f = own.row.found.frequency
    error = modes_told(study, own, frequencies, share=False).error[:count] / f[:count]
    caption = Caption(build=f"{study.body.name}, {own.row.build.label}", mesh_error=error)
    shapes = Shapes(study.space, study.body, f, own.row.found.shape)
    return pictures_of_modes(shapes, out / "pictures", caption, count, look=Look(formats=PNG, themes=("light",)))
