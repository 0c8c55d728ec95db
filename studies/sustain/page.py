"""The sustain study as a page, fretboard maps and tables for machines."""

import numpy as np

from fem.body_modes import RADIATION, STRING
from meshes.holding import LAP
from meshes.joints import joint_of
from studies.common import cautions
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.groups import IN_RIM
from studies.common.note_names import short_name, wolf_name
from studies.common.page import write_page
from studies.common.two_meshes import LIMIT, MESH_ERROR
from studies.common.words import percent, span
from studies.drawing.sheet import save_with_caption
from studies.sustain.answer import answer, behind
from studies.sustain.charts import doubts_svg, energy_svg
from studies.sustain.hearing import NOT_AT_HAND, TOLERANCES
from studies.sustain.maps import DECAY, HEAT, RATIO, board_of, map_figure, scale_ends
from studies.sustain.result import HOLDINGS, MESH, Study
from studies.sustain.verdict import by_group
from studies.sustain.words import BOARDS, FOOTNOTE, flip_ends, matters, outside_check

LABEL = (
    "strings, air inside and outside and the body solved together: how long plucked notes last on each rim build, and whether "
    "anybody could hear the difference"
)
NOT_MODELLED = (
    "the other strings ringing along, the fretting finger, string against fret, loud playing, the player's clothes",
    "the room: sound goes out into free air",
    "torsion of the string, and its pull that varies with the swing",
    "the neck, bridge and braces as obstacles to the sound outside",
    "finish, purfling, fret wires; glue that creeps, wood that ages",
)
MODEL_ERROR = "not known"


# --- for machines ---


def per_note(study):
    """[dict] of every note of every build and way to hold it; None where a note is not answered for."""
    return [row for played in study.played.values() for row in _notes(study, played)]


def _notes(study, played):
    board, strings = played.board, study.strings.strings
    share = by_group(board)
    other = study.compared.get((played.build.name, played.how))
    wolves = {(w.string, w.fret): w for w in played.wolves}
    for (s, fret), frequency in np.ndenumerate(board.frequency):
        at = lambda values, s=s, fret=fret: known(values[s, fret])
        wolf = wolves.get((s, fret))
        yield {
            "how": played.how, "build": played.build.name, "string": strings[s].name, "fret": fret,
            "note": short_name(frequency), "frequency_hz": float(frequency), "valid": bool(board.valid[s, fret]),
            "partials": int(board.partials[s, fret]), "inharmonicity": float(board.inharmonicity[s, fret]),
            "decay_time_s": at(board.decay_time), "early_decay_time_s": at(board.early_decay_time),
            "sound_decay_time_s": at(board.sound_decay_time),
            "decay_time_without_rim_loss_s": at(played.no_rim_loss.decay_time),
            "ratio_to_sheet": 1.0 if other is None and board.valid[s, fret] else other and at(other.by_note),
            "radiated_j": at(board.radiated), "rim_share": at(sum(share[g] for g in IN_RIM)),
            **{f"{group}_share": at(v) for group, v in share.items()},
            "wolf_strength": wolf and wolf.strength, "wolf_split_hz": wolf and wolf.split,
        }  # fmt: skip


def known(value):
    """A float that JSON can hold, or None."""
    return float(value) if np.isfinite(value) else None


def per_build(study):
    """[dict] of every build and way to hold it: medians, shares, ratio with each doubt, verdict, drying stress, grams."""
    stress = {row.build.name: row for row in study.dry.rows}
    own = stress["sheet"]
    found = []
    for (name, how), played in study.played.items():
        row = {
            "how": how, "build": name, "label": played.build.label, "note": played.build.note,
            "rim_g": study.rim_g[name], "rim_g_more": study.rim_g[name] - study.rim_g["sheet"],
            "drying_stress_top_mpa": 1e-6 * stress[name].top, "drying_stress_back_mpa": 1e-6 * stress[name].back,
            "drying_stress_top_more_mpa": 1e-6 * (stress[name].top - own.top),
            "drying_stress_back_more_mpa": 1e-6 * (stress[name].back - own.back),
            "median": {key: known(v) for key, v in played.median.items()}, "share": played.share,
            "rim_share": played.rim, "wolf_notes": [wolf_name(study.strings.strings, w) for w in played.wolves],
        }  # fmt: skip
        found.append(row | _verdict(study.compared.get((name, how))))
    return found


def _verdict(c):
    """What a Compared tells; {} for the sheet's own build."""
    if c is None:
        return {}
    return {
        "decay_ratio": c.ratio, **_judged(c.decay), "early": {"ratio": c.early.ratio, **_judged(c.early)},
        "sound": {"ratio": c.sound.ratio, **_judged(c.sound)}, "sound_decay_ratio": known(c.sound_ratio),
        "radiated_db": known(c.radiated_db), "mobility_db": known(c.mobility_db),
        "model_error": MODEL_ERROR, "notes_outside_tolerance": c.audible,
        "flip": vars(c.flip) if c.flip else None, "rim_stiffness_ratio": c.stiffness,
        "paired": vars(c.paired) if c.paired else None,
    }  # fmt: skip


def _judged(found):
    """What a Judged says of its ratio."""
    return {
        "doubts": {name: list(ends) for name, ends in found.doubts.items()}, "all_doubts": [found.low, found.high],
        "verdict": found.verdict.word, "sentence": found.verdict.sentence, "why": found.why,
        "by_tolerance": found.verdict.by_tolerance, "decisive": list(found.decisive),
    }  # fmt: skip


def as_json(study: Study) -> dict[str, Plain]:
    """The whole study for machines."""
    about = About(
        study.body, "air, strings", LABEL, MESH_ERROR, NOT_MODELLED,
        provenance(study.source, study.sizes, study.unknowns), MODEL_ERROR, study.notes,
    )  # fmt: skip
    return told(about, {
        "answer": answer(study),
        "behind_the_answer": behind(study),
        "notes_outside_tolerance_by_the_mesh_alone": study.mesh_by_note,
        "valid_to_hz": study.highest_valid,
        "builds": per_build(study),
        "notes": per_note(study),
        "would_change_the_verdict": list(matters(study)),
        "rim_loss_factor_of_the_sheets_own": known(study.rim_loss_factor),
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
            "from_saddle_mm": 1e3 * study.pluck.distance, "width_mm": 1e3 * study.pluck.width,
            "angle_from_square_to_the_top_deg": float(np.degrees(study.pluck.angle)), "force_n": study.pluck.force,
        },
        "joints": [joint_of(study.body, plate).words for plate in ("top", "back")],
        "strings_assumed": list(study.strings.assumed),
    })  # fmt: skip


# --- maps ---


def draw_maps(study, folder, say=lambda text: None):
    """{how: [(PNG path, alt words)]}: the sheet's own decay and heat, then each build's ratio, all on common scales."""
    strings, found = study.strings.strings, {}
    heat = {how: rim_percent(study.own[how].board) for how in HOLDINGS}
    decay_ends = scale_ends(DECAY, *(study.own[how].board.decay_time for how in HOLDINGS))
    heat_ends = scale_ends(HEAT, *heat.values())
    ratio_ends = scale_ends(RATIO, *(c.by_note for c in study.compared.values() if c.build.name != LIMIT))
    for how in HOLDINGS:
        own, short = study.own[how], how.replace(" ", "-")
        board = board_of(strings, own.board, own.wolves)
        jobs = [
            (own.build, board, own.board.decay_time, DECAY, decay_ends),
            (own.build, board, heat[how], HEAT, heat_ends),
        ]
        for build in study.builds[1:]:
            mine = study.played[build.name, how]
            both = board_of(strings, mine.board, mine.wolves)
            jobs.append((build, both, study.compared[build.name, how].by_note, RATIO, ratio_ends))
        for build, b, values, measure, ends in jobs:
            say(f"fretboard, {build.label}, {how}")
            heading = f"{study.body.name}, {build.label}; {how}"
            stem = folder / f"{measure.name}-{build.name}-{short}"
            figure = map_figure(b, values, measure, heading, ends)
            path = save_with_caption(figure, stem, caption(study, build, how, measure), (".png", ".pdf", ".svg"))[0]
            found.setdefault(how, []).append((path, extremes(b, values, measure, heading)))
    return found


def rim_percent(board):
    """(strings, frets + 1) per cent of each pluck's energy turned to heat in the rim, of a Fretboard."""
    share = by_group(board)
    return 100 * sum(share[g] for g in IN_RIM)


def caption(study, build, how, measure):
    """For print, beside the picture."""
    own = next(c for c in study.compared.values() if c.how == how)
    low, high = own.doubts[MESH]
    return (
        f"{study.body.name}, {build.label}. {measure.title}, {measure.unit}, of every string at every fret. Computed: strings, body, air "
        f"inside and outside solved together; {how}; {study.strings.title}. Notes above {study.highest_valid:.0f} Hz are not answered "
        f"for. Mesh {1e3 * study.sizes[0]:.0f} mm; its error in a median ratio is about {percent((high - low) / own.ratio / 2)}, the model "
        "error is not known. Nut on the left, highest string on top. Computed with Rimwork."
    )


def extremes(board, values, measure, heading):
    """Alt words: from the least to the most, and where."""
    shown = np.where(board.valid & np.isfinite(values), values, np.nan)
    if not np.isfinite(shown).any():
        return f"Fretboard map, {heading}: {measure.title}; no note is answered for."
    place = lambda k: (
        f"{short_name(board.frequency[k])} on string {board.names[k[0]]}" + (f" at fret {k[1]}" if k[1] else " open")
    )
    ends = [np.unravel_index(f(shown), shown.shape) for f in (np.nanargmin, np.nanargmax)]
    told = [f"{shown[k]:.3g} {measure.unit} ({place(k)})" for k in ends]
    return f"Fretboard map, {heading}: {measure.title}, from {told[0]} to {told[1]}."


# --- the page ---


def write_report(study, out, pictures=True, say=lambda text: None):
    """Write index.html, tables, sustain.json and the maps into the folder `out`; returns the paths written."""
    data = as_json(study)
    maps = draw_maps(study, out / "pictures", say) if pictures else {}
    machine = write_json(out / "sustain.json", data)
    notes, rows = write_table(out / "notes.csv", data["notes"]), write_table(out / "builds.csv", flat(data["builds"]))
    lead, rest = leading(data["answer"])
    page = write_page(out / "index.html", "sustain/page.html.j2", {
        "title": f"{study.body.name}: does the rim change how long notes last?",
        "study": study, "data": data, "lead": lead, "rest": rest, "cautions": cautions.RIM,
        "holdings": HOLDINGS, "lap": LAP, "tolerances": TOLERANCES, "span": span, "footnote": FOOTNOTE,
        "boards_note": BOARDS, "flip_ends": flip_ends(study),
        "energy": {how: energy_svg(_bars(study, how), how) for how in HOLDINGS},
        "doubts": {how: doubts_svg(real(study, how), TOLERANCES, how) for how in HOLDINGS if real(study, how)},
        "maps": {how: [(p.relative_to(out).as_posix(), words) for p, words in found] for how, found in maps.items()},
        "strings_assumed": together(study.strings.assumed), "radiation": RADIATION, "string": STRING,
    })  # fmt: skip
    return [page, rows, notes, machine]


def together(lines):
    """Lines 'E2 core: words' of several strings joined where the words are the same: 'core (E2, A2): words'."""
    found = {}
    for line in lines:
        name, _, rest = line.partition(" ")
        found.setdefault(rest, []).append(name)
    split = ((rest.partition(": "), names) for rest, names in found.items())
    return [f"{what.replace('_', ' ')} ({', '.join(names)}): {words}" for (what, _, words), names in split]


def leading(text):
    """(question and first sentence of its answer, the rest) of a paragraph that begins with a question."""
    question, mark, rest = text.partition("? ")
    first, stop, rest = rest.partition(". ")
    return f"{question}{mark}{first}{stop}".rstrip(), rest


def _bars(study, how):
    return [(b.label, study.played[b.name, how].share) for b in study.builds]


def real(study, how):
    """[Compared] of the builds that can be built."""
    return [study.compared[b.name, how] for b in study.builds[1:] if b.name != LIMIT]


def flat(rows):
    """Rows for CSV: nested values spread over columns of their own."""
    found = [dict(_spread(row)) for row in rows]
    keys = dict.fromkeys(key for row in found for key in row)
    return [{key: row.get(key) for key in keys} for row in found]


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
