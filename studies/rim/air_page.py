"""The rim study with air as a page, tables for machines and a summary for the terminal."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from meshes.describe import wood_notes
from meshes.holding import FREE, LAP
from meshes.joints import joint_of
from studies.common import cautions
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.groups import IN_RIM, grouped
from studies.common.machine import plain
from studies.common.measured import as_dict
from studies.common.page import captioned, drawn_or_told, write_page
from studies.common.two_meshes import (
    LIMIT,
    MESH_ERROR,
    both,
    largest_errors,
    mesh_error,
    of_mode,
    shift_of_mode,
    with_errors,
)
from studies.common.words import change_bars, decibels, percent, percent_bars, points, signed
from studies.drawing.mode_names import names_with_air
from studies.rim.air import HOLDINGS, WHOLE_RIM, Study, partners
from studies.solved.power import SUMMARY, bands, summary

LEAST_SHARE, LEAST_DB = 0.0005, 0.1  # smaller errors are not told: the figures are rounded
HOLDER = {FREE: "the bands it hangs on", LAP: "the player"}
LABEL = (
    "with the air inside and outside, without strings: says where power put in at the saddle goes; rimwork sustain tells how "
    "long notes last"
)
NOT_MODELLED = (
    "strings and their tension, the fretting hand, clothing, the mass of the flesh the body rests on",
    "the room: sound goes out into free air",
    "pores, roughness and leaks of the walls inside; friction at the sharp edge of the soundhole beyond that of a smooth tube; loud playing",
    "the neck, bridge and braces as obstacles to the sound outside",
    "finish, purfling, fret wires",
)


def measures(study: Study) -> list[dict[str, Plain]]:
    """[{build, how, ...}]: the summary of every build and way to hold it, with mesh errors, change from the sheet's own."""
    found = []
    for how in HOLDINGS:
        of = lambda name, how=how: tuple(
            summary(level.results[name, how].driven) for level in (study.fine, study.coarse)
        )
        own, figures = of("sheet"), {}
        for build in study.builds:
            fine, rough = of(build.name)
            sound, sound_rough = (10 * np.log10(r["radiated_w"] / b["radiated_w"]) for r, b in zip((fine, rough), own))
            figures[build.name] = with_errors(fine, rough, own) | {
                "sound_db": sound, "sound_db_error": mesh_error(sound, sound_rough),
            }  # fmt: skip
        worst = largest_errors(figures)
        found += [
            {
                "build": build.name, "label": build.label, "note": build.note, "how": how,
                "rim_g": study.fine.results[build.name, how].rim_g, **figures[build.name], **worst,
            }
            for build in study.builds
        ]  # fmt: skip
    return found


def answer(study):
    """Plain sentences: what the sheet's own rim turns to heat and what the other builds change."""
    rows = measures(study)
    low, high = answered(study)
    lines = []
    for how in HOLDINGS:
        own = next(r for r in rows if r["how"] == how and r["build"] == "sheet")
        lines.append(
            f"{how.capitalize()}: of the power that a force at the saddle puts in between {low:.0f} and {high:.0f} Hz, "
            f"{percent_bars(own['rim'], own['rim_error'])} turns to heat in the rim as the sheet builds it, "
            f"{percent(own['radiation'], 0)} goes out as sound and {into(own['supports'])} into {HOLDER[how]}."
            + highest_bands(study, how)
        )
        for r in rows:
            if r["how"] == how and r["build"] not in ("sheet", LIMIT):
                grams = f"{signed(r['rim_g'] - own['rim_g'], 0)} g"
                lines.append(f"- {r['label']}: {changed(r, own, 'rim', 'heat in the rim')}; {loudness(r)}; {grams}")
    soft, firm = (100 * s["supports"] for s in study.firmness.values())
    lines.append(
        f"With flesh three times softer or firmer the player's share on the lap is {soft:.0f} or {firm:.0f} %."
    )
    return [*lines, without_loss(study), unsure_losses(study)]


def highest_bands(study, how, count=2):
    """' In the highest ...': heat in the sheet's own rim in the highest third octaves, where beyond its mesh error; or ''."""
    own = [b for b in per_band(study) if b["how"] == how and b["build"] == "sheet"][-count:]
    highest = [
        f"{percent_bars(b['rim'], b['rim_error'], 0)} at {b['third_octave_hz']} Hz"
        for b in own
        if b["rim_error"] is not None and b["rim"] > b["rim_error"]
    ]
    return f" In the highest third octaves answered for that is {' and '.join(highest)}." if highest else ""


def answered(study):
    """(low, high) Hz: the range of the figures for each build."""
    return SUMMARY[0], min(SUMMARY[1], study.fine.results["sheet", FREE].driven.valid_to)


def without_loss(study):
    """A sentence: what a rim that turns nothing to heat would bring, all else equal."""
    gain = [f"{decibels(gain_without_loss(study, how))} {how}" for how in HOLDINGS]
    return (
        f"Without any loss in the rim, and all else equal, the sound for the same force would change by {' and '.join(gain)}: "
        "no rim build can bring more than that through its own losses."
    )


def gain_without_loss(study, how):
    """dB of radiated power for the same force if the rim of the sheet's own build had no loss."""
    none, own = (study.sensitivity[how, WHOLE_RIM, times]["radiated_w"] for times in (0.0, 1.0))
    return 10 * np.log10(none / own)


def into(share):
    return "less than 1 %" if share < 0.01 else percent(share, 0)


def unsure_losses(study):
    """A sentence: the part of the rim whose unmeasured loss factor moves the answer most, hung free."""
    found = losses_table(study)[FREE]
    part = max(found, key=lambda p: found[p][2.0] - found[p][0.5])
    return (
        f"Loss factors of the rim are hardly measured. Most hangs on its {part}: with half or twice their loss factor the rim "
        f"as the sheet builds it would turn {100 * found[part][0.5]:.1f} or {100 * found[part][2.0]:.1f} % to heat, hung free."
    )


def losses_table(study):
    """{how: {part of the rim: {times its loss factor: share turned to heat in the rim}}} of the sheet's own build."""
    found = {}
    for (how, part, times), values in study.sensitivity.items():
        if part == WHOLE_RIM:
            continue
        found.setdefault(how, {}).setdefault(part, {})[times] = values["rim"]
    return found


def changed(row, own, key, words):
    change, error = row[key] - own[key], max(row[f"{key}_change_error"], LEAST_SHARE)
    by = "no change beyond the mesh error" if abs(change) <= error else points(change, error)
    return f"{words} {percent(row[key])} ({by})"


def loudness(row):
    change, error = row["sound_db"], max(row["sound_db_error"], LEAST_DB)
    if abs(change) <= error:
        return f"sound for the same force as before, within {error:.1f} dB"
    return f"sound for the same force {change_bars(change, error, 1, 'dB')}"


def summary_text(study):
    """The answer for the terminal, the plain words first."""
    return "\n".join([f"{study.body.name}, {LABEL}", "", *answer(study)])


def per_mode(study: Study) -> Iterator[dict[str, Plain]]:
    """One dict per build, way to hold and air-loaded mode of the sheet's own build."""
    levels, area = (study.fine, study.coarse), study.fine.area
    hertz = lambda results: tuple(r.modes.frequency for r in results)
    for how in HOLDINGS:
        own = base, _ = tuple(level.results["sheet", how] for level in levels)
        words = names_with_air(study.fine.base, base.modes, base.motion, study.count)
        on_coarse, _ = partners(*own, area, study.count)
        for build in study.builds:
            both_rows = row, rough = tuple(level.results[build.name, how] for level in levels)
            partner, match = partners(base, row, area, study.count)
            across, _ = partners(row, rough, area, len(row.modes.frequency))
            loss = grouped(row.modes.loss_share)
            heat = tuple(sum(grouped(r.modes.loss_share)[g] for g in IN_RIM) for r in both_rows)
            for k, p in enumerate(partner):
                at = int(p), int(across[p]) if p >= 0 else -1
                one = lambda values, at=at: of_mode((values, None), at)[0]
                frequency, frequency_error = of_mode(hertz(both_rows), at)
                shift, shift_error = shift_of_mode(hertz(both_rows), at, hertz(own), (k, on_coarse[k]))
                in_rim, in_rim_error = of_mode(heat, at)
                yield {
                    "how": how, "build": build.name, "mode": k + 1, "assurance": float(match[k]),
                    "frequency_hz": frequency, "frequency_error_hz": frequency_error, "shift_percent": shift,
                    "loss_factor": one(row.modes.loss_factor), "heat_in_rim": in_rim, "heat_in_rim_error": in_rim_error,
                    "radiated_share": one(row.modes.loss_share["radiation"]), "supports_share": one(loss["supports"]),
                    "air_share": one(row.modes.air_share), "shift_error_percent": shift_error,
                    "moves": words[k] if build.is_base else None,
                }  # fmt: skip


def per_band(study):
    """One dict per build, way to hold and third octave."""
    for (name, how), row in study.fine.results.items():
        rough = dict(bands(study.coarse.results[name, how].driven))
        for middle, found in bands(row.driven):
            error = mesh_error(found["rim"], rough[middle]["rim"]) if middle in rough else None
            yield {"how": how, "build": name, "third_octave_hz": middle, **found, "rim_error": error}


def as_json(study: Study) -> dict[str, Plain]:
    """The whole study for machines."""
    fine = study.fine.results["sheet", FREE]
    about = About(
        study.body, "air", LABEL, f"of the structure's mesh alone: {MESH_ERROR}", NOT_MODELLED,
        provenance(study.source, both(study.size), study.unknowns),
    )  # fmt: skip
    return told(about, {
        "valid_to_hz": fine.driven.valid_to,
        "range_hz": answered(study),
        "largest_imbalance_of_power": max(r.driven.imbalance for r in study.fine.results.values()),
        "builds": measures(study),
        "modes": list(per_mode(study)),
        "third_octaves": list(per_band(study)),
        "dry_frequency_hz_of_the_sheets_own": plain(fine.dry_hz),
        "flesh": {f"{k:.3g}": v for k, v in study.firmness.items()},
        "heat_in_rim_with_other_losses": losses_table(study),
        "sound_db_if_the_rim_had_no_loss": {how: gain_without_loss(study, how) for how in HOLDINGS},
        "measured": [as_dict(b) for b in study.measured],
        "woods": wood_notes(study.body),
        "joints": [joint_of(study.body, plate).words for plate in ("top", "back")],
    })  # fmt: skip


def write_report(
    study: Study, out: Path, pictures: bool = True, say: Callable[[str], None] = lambda text: None
) -> list[Path]:
    """Write index.html, tables, air.json and the pictures into the folder `out`; returns the paths written."""
    from studies.rim.pictures import draw

    data, drawn, page = as_json(study), {}, out / "index.html"
    machine = write_json(out / "air.json", data)
    tables = {"air-modes.csv": data["modes"], "air-third-octaves.csv": data["third_octaves"]}
    written = [write_table(out / name, rows) for name, rows in tables.items()]

    def write(fault=""):
        write_page(page, "rim/air_page.html.j2", {
            "title": f"{study.body.name}: what the rim turns to heat, with the air",
            "data": data, "answer": answer(study), "cautions": cautions.RIM, "holdings": HOLDINGS, "lap": LAP, "free": FREE,
            "beside": "dry.html", "picture_fault": fault, "measured": study.measured,
            "pictures": {kind: captioned(paths, out, 1) for kind, paths in drawn.items()},
        })  # fmt: skip

    write()
    if pictures:
        write(drawn_or_told(lambda: draw(study, out / "pictures", say, drawn)))
    return [page, *written, machine]
