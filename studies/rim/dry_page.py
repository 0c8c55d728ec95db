"""The rim study as a page, tables for machines and a summary for the terminal."""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import numpy as np

from meshes.describe import wood_notes
from meshes.joints import joint_of
from meshes.parts import RIM
from studies.common import cautions
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.groups import largest
from studies.common.machine import plain
from studies.common.measured import as_dict, table
from studies.common.page import captioned, drawn_or_told, write_page
from studies.common.two_meshes import (
    LIMIT,
    MESH_ERROR,
    both,
    largest_errors,
    of_mode,
    rim_grams,
    shift_of_mode,
    with_errors,
)
from studies.common.words import UNKNOWN, percent, percent_bars, points, signed
from studies.drawing.mode_names import names
from studies.rim.dry import Study, rim_share, struck, unknown_losses

LABEL = "without air, radiation and strings: an upper estimate; how long notes last, rimwork sustain tells"
NOT_MODELLED = (
    "the enclosed air, sound radiated, strings and their tension, the player's arm and lap",
    "crack-stopping by the bars on the sides, the risk that a block splits, sealing of end grain, heat and creep of glue lines",
    "finish, purfling, fret wires, the weight of bindings (their stiffness counts in the joints only)",
)


def summary(study):
    """The answer for the terminal, the plain words first."""
    lines = [study.body.name + ", " + LABEL, ""]
    lines += answer(study)
    lines.append("")
    head = f"{'build of the rim':46s} {'rim':>7} {'heat in the rim':>18} {'if the rim had no loss':>23} {'stored in the rim':>19}"
    lines.append(head)
    for row in headline(study):
        lines.append(
            f"{row['label']:46s} {row['rim_g']:5.0f} g {percent_bars(row['heat'], row['heat_error']):>18} "
            f"{'not known' if row['no_loss_gain'] is None else 'rings ' + longer(row['no_loss_gain']):>23} {percent_bars(row['stored'], row['stored_error']):>19}"
        )
    lines.append(
        "of a tap on the bridge saddle, over the modes computed; ± is the mesh error alone, the model error is not known"
    )
    if study.measured:
        lines += ["", "Measured beside computed", table(study.measured)]
    return "\n".join(lines)


def paragraph(study):
    """The dry answer in a few sentences, to stand below the one with air; with what was measured."""
    rows = headline(study)
    own, others = rows[0], [r for r in rows[1:] if r["name"] != LIMIT]
    lowest, highest = (f(others, key=lambda r: r["heat"]) for f in (min, max))
    top = study.comparisons[0].row.found.frequency[study.count - 1]
    lines = [
        f"Dry ({LABEL}): after a tap on the saddle {percent_bars(own['heat'], own['heat_error'])} of the energy that the modes up to "
        f"{top:.0f} Hz hold turns to heat in the rim as the sheet builds it; {percent(lowest['heat'])} with {lowest['label']}, "
        f"{percent(highest['heat'])} with {highest['label']}. Without any loss in the rim these modes would ring "
        f"{longer(own['no_loss_gain'])}. Stored in the rim, and given back: {percent_bars(own['stored'], own['stored_error'])}.",
        "± is the mesh error alone; the model error is not known.",
    ]
    if study.measured:
        lines += ["", "Measured beside computed (tones dry)", table(study.measured)]
    return "\n".join(lines)


def headline(study: Study) -> list[dict[str, Plain]]:
    """One dict per build: weight, heat and storage in the rim for a tap on the saddle, and what no loss would give.

    The mesh errors of a build and of its difference from the sheet's own are two: what both share cancels.
    """
    measures = [tuple(tap_measures(row, study.count) for row in (c.row, c.coarse)) for c in study.comparisons]
    builds = [c.row.build for c in study.comparisons]
    figures = {build.name: with_errors(*both, measures[0]) for build, both in zip(builds, measures)}
    worst = largest_errors(figures)
    return [
        {"name": build.name, "label": build.label, "note": build.note, "rim_g": rim_grams(c.row)}
        | figures[build.name]
        | worst
        for build, c in zip(builds, study.comparisons)
    ]


def longer(gain: float | None) -> str:
    """'12 % longer'."""
    return UNKNOWN if gain is None else f"{percent(gain, 0)} longer"


def tap_measures(row, count):
    """Shares of a tap's energy: heat in the rim, storage in the rim; the time it rings, and the gain if the rim had no loss."""
    whole = struck(row, count)
    if whole is None:
        return dict.fromkeys(("heat", "stored", "ring_time", "no_loss_gain"))
    return {
        "heat": sum(whole.heat.get(part, 0.0) for part in RIM),
        "stored": sum(whole.stored.get(part, 0.0) for part in RIM),
        "ring_time": whole.ring_time,
        "no_loss_gain": struck(row, count, lossless=RIM).ring_time / whole.ring_time - 1,
    }


def answer(study):
    """Two or three plain sentences on the heat turned in the rim, then on what is stored there."""
    rows = headline(study)
    base, others = rows[0], [r for r in rows[1:] if r["name"] != LIMIT]
    top = study.comparisons[0].row.found.frequency[study.count - 1]
    if base["heat"] is None:
        return ["Loss factors are not known for " + ", ".join(unknown_losses(study)) + ": no heat can be told."]
    lines = [
        f"After a tap on the saddle, {percent_bars(base['heat'], base['heat_error'])} of the energy that the modes up to {top:.0f} Hz hold turns to heat "
        f"in the rim as the sheet builds it. Without any loss in the rim, and all else equal, these modes would ring "
        f"{longer(base['no_loss_gain'])}: no rim build can gain more than that through its own losses."
    ]
    for r in others:
        change, error = r["heat"] - base["heat"], r["heat_change_error"]
        words = "no change beyond the mesh error" if abs(change) <= error else points(change, error)
        lines.append(
            f"- {r['label']}: heat turned in the rim {percent(r['heat'])} ({words}), {signed(r['rim_g'] - base['rim_g'], 0)} g"
        )
    return lines


def per_mode(study: Study) -> Iterator[dict[str, Plain]]:
    """One dict per build and mode of the base: frequencies, shifts, shares, errors."""
    own = study.comparisons[0]
    words = names(study.models[0].space, own.row.found.shape[:, : study.count])
    hertz = lambda c: (c.row.found.frequency, c.coarse.found.frequency)
    for c in study.comparisons:
        split, rough = c.row.split, c.coarse.split
        heat = rim_share(split.heat_share), rim_share(rough.heat_share)
        stored = rim_share(split.strain_share), rim_share(rough.strain_share)
        for k in range(study.count):
            at = p, _ = int(c.partner[k]), int(c.coarse_partner[k])
            frequency, frequency_error = of_mode(hertz(c), at)
            shift, shift_error = shift_of_mode(hertz(c), at, hertz(own), (k, own.coarse_partner[k]))
            in_rim, in_rim_error = of_mode(heat, at)
            stays, stays_error = of_mode(stored, at)
            loss, _ = of_mode((split.loss_factor, None), at)
            yield {
                "build": c.row.build.name, "mode": k + 1, "frequency_hz": frequency, "frequency_error_hz": frequency_error,
                "shift_percent": shift, "shift_error_percent": shift_error, "assurance": float(c.match[k]),
                "heat_in_rim": in_rim, "heat_in_rim_error": in_rim_error,
                "loss_factor": loss, "loss_factor_rim_without_loss": None if loss is None else loss * (1 - in_rim),
                "stored_in_rim": stays, "stored_in_rim_error": stays_error,
                "moves_most": largest(split.kinetic_share, p) if p >= 0 else None,
                "moves": words[k] if c is own else None,
            }  # fmt: skip


def as_json(study: Study) -> dict[str, Plain]:
    """The whole study for machines."""
    rows = []
    for c, head in zip(study.comparisons, headline(study)):
        split = c.row.split
        rows.append(
            {
                **head,
                "mass_kg": c.row.mass,
                "frequency_hz": plain(c.row.found.frequency),
                "residual": plain(c.row.found.residual),
                "strain_energy_share": {p: plain(v) for p, v in split.strain_share.items()},
                "kinetic_energy_share": {p: plain(v) for p, v in split.kinetic_share.items()},
                "heat_share": None if split.heat_share is None else {p: plain(v) for p, v in split.heat_share.items()},
                "loss_factor": None if split.loss_factor is None else plain(split.loss_factor),
            }
        )
    about = About(
        study.body, "dry", LABEL, MESH_ERROR, NOT_MODELLED, provenance(study.source, both(study.size), study.unknowns)
    )
    return told(about, {
        "builds": rows, "modes": list(per_mode(study)), "woods": wood_notes(study.body),
        "measured": [as_dict(b) for b in study.measured],
        "joints": [joint_of(study.body, plate).words for plate in ("top", "back")],
    })  # fmt: skip


def write_report(
    study: Study,
    out: Path,
    pictures: bool = True,
    say: Callable[[str], None] = lambda text: None,
    beside: str | None = None,
) -> list[Path]:
    """Write the page, rim.csv, rim.json and the pictures into the folder `out`; returns the paths written.

    beside: name of the page with air, which then is the first one, and this one is dry.html.
    """
    data, drawn = as_json(study), []
    page = out / ("dry.html" if beside else "index.html")
    machine, table = write_json(out / "rim.json", data), write_table(out / "rim.csv", data["modes"])
    by_mode = {}
    for item in data["modes"]:
        by_mode.setdefault(item["mode"], {})[item["build"]] = item

    def write(fault=""):
        write_page(page, "rim/dry_page.html.j2", {
            "title": f"{study.body.name}: the dry box, what its rim stores and turns to heat",
            "data": data, "by_mode": by_mode, "answer": answer(study), "cautions": cautions.RIM, "longer": longer,
            "pictures": captioned(light(drawn), out, 1), "parts": rim_parts(data), "beside": beside, "picture_fault": fault,
            "measured": study.measured,
        })  # fmt: skip

    write()
    if pictures:
        write(drawn_or_told(lambda: drawn.extend(draw(study, data["modes"], out, say))))
    return [page, table, machine]


def light(drawn: Iterable[Path]) -> list[Path]:
    """The pictures for the page: the contact sheet, then the others; the dark ones stay aside."""
    found = [p for p in drawn if p.suffix == ".png" and not p.stem.endswith("dark")]
    return sorted(found, key=lambda p: ("contact" not in p.name, p.name))


def rim_parts(data):
    """Heat share of each part of the rim in the sheet's own build, by mode: {part: [..]}, or {}."""
    heat = data["builds"][0]["heat_share"] or {}
    return {part: heat[part] for part in RIM if part in heat}


def draw(study, modes, out, say=lambda text: None):
    """Pictures of the sheet's own modes, with captions; modes: as per_mode tells them."""
    from studies.drawing.captions import Caption
    from studies.drawing.mode_pictures import Shapes, draw_modes

    row = study.comparisons[0].row
    count = min(12, study.count)
    own = [m for m in modes if m["build"] == row.build.name][:count]
    error = [
        m["frequency_error_hz"] / m["frequency_hz"] if m["frequency_error_hz"] is not None else np.nan for m in own
    ]
    caption = Caption(build=f"{study.body.name}, {row.build.label}", mesh_error=np.array(error))
    shapes = Shapes(study.models[0].space, study.body, row.found.frequency, row.found.shape)
    return draw_modes(shapes, out / "pictures", caption, count, say=say)
