"""The rim study with air as a page, tables for machines and a summary for the terminal."""

import csv
import json
from pathlib import Path

import numpy as np
from jinja2 import Environment, FileSystemLoader, select_autoescape

from studies.air import IN_RIM, grouped
from studies.air_power import SUMMARY, bands, summary
from studies.modes import plain
from studies.rim import COARSER
from studies.rim_air import FREE, HOLDINGS, LAP, partners
from studies.rim_report import CAUTIONS, hertz, mesh_error, percent, provenance

SCHEMA_VERSION = 1
LABEL = "with the air inside and outside, without strings: says where power put in at the saddle goes, not yet how long notes last"
NOT_MODELLED = (
    "strings and their tension, the fretting hand, clothing, the mass of the flesh the body rests on",
    "the room: sound goes out into free air",
    "pores, roughness and leaks of the walls inside; friction at the sharp edge of the soundhole beyond that of a smooth tube; loud playing",
    "the neck, bridge and braces as obstacles to the sound outside",
    "finish, purfling, fret wires",
)


def measures(study):
    """[{build, how, ...}]: the summary of every build and way to hold it, with mesh errors, change from the sheet's own."""
    found = []
    for how in HOLDINGS:
        base = [summary(level.results["sheet", how].driven) for level in (study.fine, study.coarse)]
        for build in study.builds:
            fine, rough = (summary(level.results[build.name, how].driven) for level in (study.fine, study.coarse))
            item = {"build": build.name, "label": build.label, "note": build.note, "how": how}
            item["rim_g"] = study.fine.results[build.name, how].rim_g
            for key, value in fine.items():
                item[key] = value
                item[f"{key}_error"] = mesh_error(value, rough[key])
                item[f"{key}_change_error"] = mesh_error(value - base[0][key], rough[key] - base[1][key])
            ratio = [r["radiated_w"] / b["radiated_w"] for r, b in zip((fine, rough), base)]
            item["sound_db"] = 10 * np.log10(ratio[0])
            item["sound_db_error"] = mesh_error(*(10 * np.log10(r) for r in ratio))
            found.append(item)
    return found


def answer(study):
    """Plain sentences: what the sheet's own rim turns to heat and what the other builds change."""
    rows = measures(study)
    high = min(SUMMARY[1], study.fine.results["sheet", FREE].driven.valid_to)
    lines = []
    for how in HOLDINGS:
        own = next(r for r in rows if r["how"] == how and r["build"] == "sheet")
        lines.append(
            f"{how.capitalize()}: of the power that a force at the saddle puts in between {SUMMARY[0]:.0f} and {high:.0f} Hz, "
            f"{100 * own['rim']:.1f} % turns to heat in the rim as the sheet builds it, {100 * own['radiation']:.0f} % goes "
            f"out as sound and {100 * own['supports']:.0f} % into what holds the body."
        )
        for r in rows:
            if r["how"] == how and r["build"] not in ("sheet", "stiff_limit"):
                lines.append(f"- {r['label']}: {changed(r, own, 'rim', 'heat in the rim')}; {loudness(r)}")
    soft, firm = (100 * s["supports"] for s in study.firmness.values())
    lines.append(
        f"With flesh three times softer or firmer the share into what holds the body is {soft:.0f} or {firm:.0f} %."
    )
    return lines


def changed(row, own, key, words):
    change, error = row[key] - own[key], row[f"{key}_change_error"]
    told = (
        "no change beyond the mesh error"
        if abs(change) <= error
        else f"{100 * change:+.1f} +- {100 * error:.1f} points"
    )
    return f"{words} {100 * row[key]:.1f} % ({told})"


def loudness(row):
    change, error = row["sound_db"], row["sound_db_error"]
    if abs(change) <= error:
        return f"sound power for the same force as before, within the mesh error of {error:.1f} dB"
    return f"sound power for the same force {change:+.1f} +- {error:.1f} dB"


def summary_text(study):
    """The answer for the terminal, the plain words first."""
    return "\n".join([f"{study.body.name}, {LABEL}", "", *answer(study)])


def per_mode(study):
    """One dict per build, way to hold and air-loaded mode of the sheet's own build."""
    for how in HOLDINGS:
        base = study.fine.results["sheet", how]
        for build in study.builds:
            row, rough = (level.results[build.name, how] for level in (study.fine, study.coarse))
            partner, match = partners(base, row, study.fine.area, study.count)
            across, _ = partners(row, rough, study.fine.area, len(row.modes.frequency))
            shares = grouped(row.modes.loss_share)
            for k, p in enumerate(partner):
                yield mode_item(how, build, k, p, match[k], base, row, rough, across, shares)


def mode_item(how, build, k, p, match, base, row, rough, across, shares):
    item = {"how": how, "build": build.name, "mode": k + 1, "assurance": match}
    keys = ("frequency_hz", "frequency_error_hz", "shift_percent", "loss_factor", "heat_in_rim", "radiated_share", "supports_share", "air_share")  # fmt: skip
    item |= dict.fromkeys(keys)
    if p >= 0:
        f, q = row.modes.frequency[p], across[p]
        item |= {
            "frequency_hz": f,
            "frequency_error_hz": mesh_error(f, rough.modes.frequency[q]) if q >= 0 else None,
            "shift_percent": 100 * (f / base.modes.frequency[k] - 1),
            "loss_factor": row.modes.loss_factor[p],
            "heat_in_rim": sum(shares[g][p] for g in IN_RIM),
            "radiated_share": shares["radiation"][p],
            "supports_share": shares["supports"][p],
            "air_share": row.modes.air_share[p],
        }
    return {key: v.item() if isinstance(v, np.generic) else v for key, v in item.items()}


def per_band(study):
    """One dict per build, way to hold and third octave."""
    for (name, how), row in study.fine.results.items():
        rough = dict(bands(study.coarse.results[name, how].driven))
        for middle, found in bands(row.driven):
            error = mesh_error(found["rim"], rough[middle]["rim"]) if middle in rough else None
            yield {"how": how, "build": name, "third_octave_hz": middle, **found, "rim_error": error}


def as_json(study):
    """The whole study for machines."""
    fine = study.fine.results["sheet", FREE]
    told = provenance(ProvenanceOf(study))
    return {
        "schema_version": SCHEMA_VERSION,
        "model": "air",
        "label": LABEL,
        "mesh_error": f"of the structure's mesh alone: twice the difference of two mesh sizes 1 : {COARSER:g}, for first-order convergence",
        "model_error": "not known",
        "valid_to_hz": fine.driven.valid_to,
        "largest_imbalance_of_power": max(r.driven.imbalance for r in study.fine.results.values()),
        "builds": measures(study),
        "modes": list(per_mode(study)),
        "third_octaves": list(per_band(study)),
        "dry_frequency_hz_of_the_sheets_own": plain(fine.dry_hz),
        "flesh": {f"{k:.3g}": v for k, v in study.firmness.items()},
        "assumed": [vars(a) for a in study.body.assumed],
        "warnings": list(study.body.warnings),
        "not_modelled": NOT_MODELLED,
        "provenance": told,
    }


class ProvenanceOf:
    """The study as rim_report.provenance reads it."""

    def __init__(self, study):
        self.sheet, self.sheet_hash, self.size = study.sheet, study.sheet_hash, study.fine.size
        self.unknowns = (study.fine.unknowns, study.coarse.unknowns)


def write_report(study, out, pictures=True, say=lambda text: None):
    """Write index.html, tables, rim-air.json and the pictures into the folder `out`; returns the paths written."""
    from studies.air_pictures import draw

    data = as_json(study)
    drawn = draw(study, out / "pictures", say) if pictures else {}
    machine = out / "rim-air.json"
    machine.write_text(json.dumps(data, indent=1, allow_nan=False) + "\n")
    tables = {"modes.csv": data["modes"], "third-octaves.csv": data["third_octaves"]}
    for name, rows in tables.items():
        with (out / name).open("w", newline="") as stream:
            writer = csv.DictWriter(stream, fieldnames=list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"), autoescape=select_autoescape(["html", "j2"])
    )
    environment.filters |= {"percent": percent, "hertz": hertz}
    page = out / "index.html"
    page.write_text(
        environment.get_template("rim_air.html.j2").render(
            study=study, data=data, answer=answer(study), label=LABEL, cautions=CAUTIONS, holdings=HOLDINGS, lap=LAP,
            pictures={kind: [p.relative_to(out).as_posix() for p in paths] for kind, paths in drawn.items()},
        )
    )  # fmt: skip
    return [page, *(out / name for name in tables), machine]
