"""The sustain study as a page and tables for machines."""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import numpy as np

from fem.body_modes import RADIATION, STRING
from meshes.joints import joint_of
from meshes.supports import LAP
from meshes.unexplained_loss import LARGEST
from studies.common import cautions
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.groups import IN_RIM
from studies.common.note_names import short_name, wolf_name
from studies.common.page import write_page
from studies.common.two_meshes import LIMIT, MESH_ERROR
from studies.common.words import span
from studies.sustain.answer import answer, behind
from studies.sustain.charts import energy_svg, uncertainty_svg
from studies.sustain.hearing import NOT_AT_HAND, TOLERANCES
from studies.sustain.pictures import draw_maps
from studies.sustain.result import SUPPORT_CONDITIONS, TIMES, Compared, Study
from studies.sustain.verdict import by_group
from studies.sustain.words import BOARDS, FOOTNOTE, flip_ends, matters, outside_check

LABEL = (
    "strings, air inside and outside and the body solved together: how long plucked notes last on each rim build, and whether "
    "anybody could hear the difference"
)
NOT_MODELLED = (
    "the other strings ringing along, the fretting finger, string against fret, loud playing, bones under the player's flesh",
    "the room: sound goes out into free air",
    "torsion of the string, and its pull that varies with the swing",
    "the neck, bridge and braces as obstacles to the sound outside",
    "finish, purfling, fret wires; glue that creeps, wood that ages",
)
MODEL_ERROR = "not known"


# --- for machines ---


def per_note(study: Study) -> list[dict[str, Plain]]:
    """Every note of every build and way to hold it; None where a note is not answered for."""
    return [row for played in study.played.values() for row in _notes(study, played)]


def _notes(study, played):
    board, strings = played.board, study.strings.strings
    share = by_group(board)
    other = study.compared.get((played.build.name, played.how))
    wolves = {(w.string, w.fret): w for w in played.wolves}
    for (s, fret), frequency in np.ndenumerate(board.frequency):
        at = lambda values, s=s, fret=fret: known(values[s, fret])
        valid, wolf = bool(board.valid[s, fret]), wolves.get((s, fret))
        yield {
            "how": played.how, "build": played.build.name, "string": strings[s].name, "fret": fret,
            "note": short_name(frequency), "frequency_hz": float(frequency), "valid": valid,
            "partials": int(board.partials[s, fret]), "inharmonicity": float(board.inharmonicity[s, fret]),
            **{f"{measure}_s": at(getattr(board, measure)) for measure in TIMES},
            "decay_time_without_rim_loss_s": at(played.no_rim_loss.decay_time),
            "ratio_to_sheet": 1.0 if other is None and valid else other and at(other.by_note),
            "radiated_j": at(board.radiated), "rim_share": at(sum(share[g] for g in IN_RIM)),
            **{f"{group}_share": at(v) for group, v in share.items()},
            "wolf_strength": wolf and wolf.strength, "wolf_split_hz": wolf and wolf.split,
        }  # fmt: skip


def known(value: float) -> float | None:
    """A float that JSON can hold, or None."""
    return float(value) if np.isfinite(value) else None


def per_build(study: Study) -> list[dict[str, Plain]]:
    """Every build and way to hold it: medians, shares, ratio with each uncertainty, verdict, drying stress, grams."""
    own, rows = study.dry.builds["sheet"], []
    for (name, how), played in study.played.items():
        dry, c = study.dry.builds[name], study.compared.get((name, how))
        row = {
            "how": how, "build": name, "label": played.build.label, "note": played.build.note,
            "rim_g": study.rim_g[name], "rim_g_more": study.rim_g[name] - study.rim_g["sheet"],
            "drying_stress_top_mpa": 1e-6 * dry.top, "drying_stress_back_mpa": 1e-6 * dry.back,
            "drying_stress_top_more_mpa": 1e-6 * (dry.top - own.top),
            "drying_stress_back_more_mpa": 1e-6 * (dry.back - own.back),
            "median": {key: known(v) for key, v in vars(played.median).items()}, "share": played.share,
            "rim_share": played.rim, "wolf_notes": [wolf_name(study.strings.strings, w) for w in played.wolves],
        }  # fmt: skip
        rows.append(row | (_compared(c, played.stiffness) if c else {}))
    return rows


def _compared(c, stiffness):
    """What a Compared tells, and the stiffness of its rim."""
    return {
        "decay_ratio": c.ratio, **_judged(c),
        "early": {"ratio": c.early.ratio, **_judged(c.early)}, "sound": {"ratio": c.sound.ratio, **_judged(c.sound)},
        "sound_decay_ratio": known(c.sound.ratio), "radiated_db": known(c.radiated_db),
        "mobility_db": known(c.mobility_db), "model_error": MODEL_ERROR, "notes_outside_tolerance": c.audible,
        "flip": vars(c.flip) if c.flip else None, "rim_stiffness_ratio": stiffness,
        "paired": vars(c.paired) if c.paired else None,
    }  # fmt: skip


def _judged(j):
    """What a Judged says of its ratio."""
    return {
        "doubts": {name: list(ends) for name, ends in j.doubts.items()}, "all_doubts": [j.low, j.high],
        "verdict": j.verdict.word, "sentence": j.verdict.sentence, "why": j.why,
        "by_tolerance": j.verdict.by_tolerance, "decisive": list(j.decisive),
    }  # fmt: skip


def as_json(study: Study) -> dict[str, Plain]:
    """The whole study for machines."""
    made = provenance(study.source, study.sizes, study.unknowns)
    about = About(study.body, "air, strings", LABEL, MESH_ERROR, NOT_MODELLED, made, MODEL_ERROR, study.notes)
    pluck = study.pluck
    return told(about, {
        "answer": answer(study),
        "behind_the_answer": behind(study),
        "notes_outside_tolerance_by_the_mesh_alone": study.mesh_by_note,
        "valid_to_hz": study.highest_valid,
        "builds": per_build(study),
        "notes": per_note(study),
        "would_change_the_verdict": matters(study),
        "rim_loss_factor_of_the_sheets_own": known(study.rim_loss_factor),
        "decay_ratio_with_unexplained_loss": study.unexplained,
        "unexplained_loss_factor_in_joints_and_linings": study.unexplained_in_joints,
        "no_rim_loss_with_losses_low": study.no_rim_low,
        "no_rim_loss_with_losses_high": study.no_rim_high,
        "flip_looked_for_between": list(study.flip_range),
        "outside_check": outside_check(study),
        "decay_ratio_with_top_losses_half_and_double": {how: list(pair) for how, pair in study.top_damping.items()},
        "drying": {"glued_up_at_percent": study.dry.built, "driest_percent": study.dry.used},
        "tolerances": [vars(t) for t in TOLERANCES],
        "tolerances_not_applied": list(NOT_AT_HAND),
        "wood_draws": study.draws,
        "strings": study.strings.title,
        "pluck": {
            "from_saddle_mm": 1e3 * pluck.distance, "width_mm": 1e3 * pluck.width,
            "angle_from_square_to_the_top_deg": float(np.degrees(pluck.angle)), "force_n": pluck.force,
        },
        "joints": [joint_of(study.body, plate).words for plate in ("top", "back")],
        "strings_assumed": list(study.strings.assumed),
    })  # fmt: skip


# --- the page ---


def write_report(
    study: Study, out: Path, pictures: bool = True, say: Callable[[str], None] = lambda text: None
) -> list[Path]:
    """Write index.html, tables, sustain.json and the maps into the folder `out`; returns the paths written."""
    data = as_json(study)
    maps = draw_maps(study, out / "pictures", say) if pictures else {}
    machine, notes = write_json(out / "sustain.json", data), write_table(out / "notes.csv", per_note(study))
    table = write_table(out / "builds.csv", flat_rows(per_build(study)))
    lead, rest = leading(answer(study))
    shares = {how: [(b.label, study.played[b.name, how].share) for b in study.builds] for how in SUPPORT_CONDITIONS}
    page = write_page(out / "index.html", "sustain/page.html.j2", {
        "title": f"{study.body.name}: does the rim change how long notes last?",
        "study": study, "data": data, "lead": lead, "rest": rest, "cautions": cautions.RIM,
        "holdings": SUPPORT_CONDITIONS, "lap": LAP, "tolerances": TOLERANCES, "span": span, "footnote": FOOTNOTE,
        "boards_note": BOARDS, "flip_ends": flip_ends(study),
        "energy": {how: energy_svg(rows, how) for how, rows in shares.items()},
        "doubts": {how: uncertainty_svg(real(study, how), how) for how in SUPPORT_CONDITIONS if real(study, how)},
        "maps": {how: [(p.relative_to(out).as_posix(), words) for p, words in drawn] for how, drawn in maps.items()},
        "strings_assumed": together(study.strings.assumed), "radiation": RADIATION, "string": STRING, "unexplained": LARGEST,
    })  # fmt: skip
    return [page, table, notes, machine]


def together(lines: Iterable[str]) -> list[str]:
    """Lines 'E2 core: words' of several strings joined where the words are the same: 'core (E2, A2): words'."""
    names: dict[str, list[str]] = {}
    for line in lines:
        name, _, rest = line.partition(" ")
        names.setdefault(rest, []).append(name)
    parts = [(rest.partition(": "), of) for rest, of in names.items()]
    return [f"{what.replace('_', ' ')} ({', '.join(of)}): {words}" for (what, _, words), of in parts]


def leading(text: str) -> tuple[str, str]:
    """(question and first sentence of its answer, the rest) of a paragraph that begins with a question."""
    question, mark, rest = text.partition("? ")
    first, stop, rest = rest.partition(". ")
    return f"{question}{mark}{first}{stop}".rstrip(), rest


def real(study: Study, how: str) -> list[Compared]:
    """Of the builds that can be built."""
    return [study.compared[b.name, how] for b in study.builds[1:] if b.name != LIMIT]


def flat_rows(rows: Iterable[Mapping[str, Plain]]) -> list[dict[str, Plain]]:
    """Rows for CSV: nested values spread over columns of their own."""
    spread = [dict(_spread(row)) for row in rows]
    keys = dict.fromkeys(key for row in spread for key in row)
    return [{key: row.get(key) for key in keys} for row in spread]


def _spread(row, before=""):
    for key, value in row.items():
        name = f"{before}{key}".replace(" ", "_")
        if isinstance(value, dict):
            yield from _spread(value, f"{name}_")
        elif isinstance(value, (list, tuple)):
            numbers = len(value) == 2 and all(isinstance(v, float) for v in value)
            yield from zip((f"{name}_low", f"{name}_high"), value) if numbers else [(name, "; ".join(map(str, value)))]
        else:
            yield name, value
