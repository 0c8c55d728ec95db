"""The rim study with air as a page and tables for machines."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from meshes.describe import wood_notes
from meshes.joints import joint_of
from meshes.supports import FREE, LAP
from studies.common import cautions
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.first_screen import FirstScreen
from studies.common.groups import IN_RIM, grouped
from studies.common.machine import plain
from studies.common.measured import as_dict
from studies.common.mesh_error import FACETS, MESH_ERROR, known, mode_errors, of_modes
from studies.common.page import Written, captioned, drawn_or_told, write_first
from studies.common.summary import write_summary
from studies.drawing.mode_names import names_with_air
from studies.rim import air_words as words
from studies.rim.air import followed_in_air, partners
from studies.rim.dry_page import judged_with
from studies.rim.first_screen import sound_screen
from studies.rim.result import SUPPORT_CONDITIONS, AirStudy, Result
from studies.solved.bridge_tap import PUBLISHED, tap_json, tap_table


def per_mode(study: AirStudy) -> Iterator[dict[str, Plain]]:
    """One dict per build, support and air-loaded mode of the sheet's own build; the heat of close modes as one."""
    area, hertz = study.fine.area, lambda row: row.modes.frequency
    for how in SUPPORT_CONDITIONS:
        own = base, *_ = study.own(how)
        moves = names_with_air(study.base, base.modes, base.motion, study.count)
        again = followed_in_air(own, area, study.count)
        in_hertz = mode_errors([hertz(row) for row in own], again, share=False)
        of_heat = mode_errors([in_the_rim(row) for row in own], again)
        for build in study.builds:
            row = study.fine.results[build.name, how]
            pairs = partner, match = partners(base, row, area, study.count)
            loss = grouped(row.modes.loss_share)
            found = of_modes(hertz(row), pairs, hertz(base), in_hertz, again, share=False)
            heat = of_modes(in_the_rim(row), pairs, in_the_rim(base), of_heat, again)
            for k, p in enumerate(partner):
                one = lambda values, p=p: None if p < 0 else float(values[p])
                percent = 100 / base.modes.frequency[k]
                yield {
                    "how": how, "build": build.name, "mode": k + 1, "assurance": float(match[k]),
                    "judged_with": judged_with(again.group, k),
                    "frequency_hz": known(found.value[k]), "frequency_error_hz": known(found.error[k]),
                    "shift_percent": known(percent * found.change[k]),
                    "loss_factor": one(row.modes.loss_factor), "heat_in_rim": known(heat.value[k]),
                    "heat_in_rim_error": known(heat.error[k]),
                    "radiated_share": one(row.modes.loss_share["radiation"]), "supports_share": one(loss["supports"]),
                    "air_share": one(row.modes.air_share), "shift_error_percent": known(percent * found.change_error[k]),
                    "moves": moves[k] if build.is_base else None,
                }  # fmt: skip


def in_the_rim(row: Result) -> np.ndarray:
    """(m,) part of the loss of each mode that is heat in the rim."""
    loss = grouped(row.modes.loss_share)
    return np.sum([loss[group] for group in IN_RIM], axis=0)


def taps(study: AirStudy) -> dict[str, dict[str, Plain]]:
    """{how: tap_json} of the sheet's own build."""
    found = {how: study.fine.results["sheet", how].tap for how in SUPPORT_CONDITIONS}
    return {how: tap_json(tap) for how, tap in found.items() if tap is not None}


def as_json(
    study: AirStudy,
    first: FirstScreen,
    modes: Sequence[Mapping[str, Plain]],
    third_octaves: Sequence[Mapping[str, Plain]],
) -> dict[str, Plain]:
    """The whole study for machines; modes and third octaves: as per_mode and per_band tell them."""
    fine = study.fine.results["sheet", FREE]
    about = About(
        study.body, "air", words.LABEL, f"of the structure's mesh alone: {MESH_ERROR}", words.NOT_MODELLED,
        provenance(study.source, (study.size, FACETS * study.size), study.unknowns),
    )  # fmt: skip
    return told(about, {
        "first_screen": first.as_json,
        "valid_to_hz": fine.driven.valid_to,
        "range_hz": words.answered_range(study),
        "largest_imbalance_of_power": max(r.driven.imbalance for r in study.fine.results.values()),
        "builds": words.measures(study),
        "modes": modes,
        "third_octaves": third_octaves,
        "dry_frequency_hz_of_the_sheets_own": plain(fine.dry_hz),
        "bridge_tap": taps(study),
        "flesh": {f"{k:.3g}": v for k, v in study.firmness.items()},
        "clothing": study.clothing,
        "heat_in_rim_with_other_losses": words.losses_table(study),
        "with_unexplained_loss": words.unexplained_table(study),
        "unexplained_loss_factor_in_joints_and_linings": study.unexplained_in_joints,
        "sound_db_if_the_rim_had_no_loss": {how: words.gain_without_loss(study, how) for how in SUPPORT_CONDITIONS},
        "measured": [as_dict(b) for b in study.measured],
        "woods": wood_notes(study.body),
        "joints": [joint_of(study.body, plate).words for plate in ("top", "back")],
    })  # fmt: skip


def write_air_figures(study: AirStudy, out: Path) -> Written:
    """Write index.html without pictures, tables and air.json into the folder `out`."""
    modes, bands = list(per_mode(study)), list(words.per_band(study))
    first = sound_screen(study)
    data = as_json(study, first, modes, bands)
    machine = write_json(out / "air.json", data)
    tables = write_table(out / "air-modes.csv", modes), write_table(out / "air-third-octaves.csv", bands)
    title = f"{study.body.name}: would you hear another rim?"
    summary = write_summary(first, title, study.source, out)
    return write_first((out / "index.html", *tables, machine, summary), "rim/air_page.html.j2", {
        "source": study.source, "title": title,
        "data": data, "answer": words.answer(study), "first": first, "cautions": cautions.RIM, "holdings": SUPPORT_CONDITIONS, "lap": LAP, "free": FREE,
        "beside": "dry.html", "measured": study.measured, "taps": [tap_table(told, how) for how, told in taps(study).items()], "published": PUBLISHED,
    }, {})  # fmt: skip


def add_air_pictures(page: Written, study: AirStudy, out: Path, say: Callable[[str], None] = lambda text: None) -> None:
    """Draw the study's pictures and write its page again with them; a fault on the way leaves those before it."""
    from studies.rim.pictures import draw

    drawn: dict[str, list[Path]] = {}
    fault = drawn_or_told(lambda: draw(study, out / "pictures", say, drawn))
    page.again({kind: captioned(paths, out, 1) for kind, paths in drawn.items()}, fault)


def write_report(
    study: AirStudy, out: Path, pictures: bool = True, say: Callable[[str], None] = lambda text: None
) -> list[Path]:
    """Write index.html, tables, air.json and the pictures into the folder `out`; returns the paths written."""
    page = write_air_figures(study, out)
    if pictures:
        add_air_pictures(page, study, out, say)
    return list(page.files)
