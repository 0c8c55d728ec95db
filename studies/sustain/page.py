"""The sustain study as a page and tables for machines."""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import numpy as np

from fem.body_modes import RADIATION, STRING
from fem.radiated_sound import OCTAVES
from meshes.joints import joint_of
from meshes.supports import PLAYED
from meshes.unexplained_loss import LARGEST
from studies.common import cautions
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.groups import IN_RIM
from studies.common.mesh_error import TWO_SIZES, known
from studies.common.note_names import short_name, wolf_name
from studies.common.page import write_page
from studies.common.summary import write_summary
from studies.common.words import span
from studies.sustain.answer import BENCH, answer, changes, left_open, solid_linings
from studies.sustain.behind import behind
from studies.sustain.bodies import BodyShifts
from studies.sustain.charts import energy_svg, uncertainty_svg
from studies.sustain.first_screen import median_screen
from studies.sustain.moved import change_of, most_moved, note_place, reason_of, said_of
from studies.sustain.pictures import draw_maps
from studies.sustain.result import Study
from studies.sustain.shares import by_group
from studies.sustain.spread import spread_svg
from studies.sustain.thresholds import DECIDING, MEASURES, NOT_USED, PLAYERS
from studies.sustain.verdict import held_words, real, verdict_of
from studies.sustain.words import BOARDS, FOOTNOTE, HAND, flip_ends, matters, outside_check

LABEL = (
    "strings, air inside and outside and the body solved together: how loud plucked notes are and how long they last on each rim build, "
    "and whether anybody could hear the difference"
)
NOT_MODELLED = (
    "the other strings ringing along, damping of the string by the fretting finger, string against fret, loud playing, the player's bones",
    "the room: sound goes out into free air",
    "torsion of the string, and its pull that varies with the swing",
    "the neck, bridge and braces as obstacles to the sound outside",
    "finish, purfling, fret wires; glue that creeps, wood that ages",
)
MODEL_ERROR = "not known"
LOWEST_MODES = 6  # of the body, told by number


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
            "first_radiated_j": at(board.first_radiated), "early_decay_time_s": at(board.early_decay_time),
            "decay_time_s": at(board.decay_time), "sound_decay_time_s": at(board.sound_decay_time),
            "decay_time_without_rim_loss_s": at(played.no_rim_loss.decay_time),
            **{name: cell for m in MEASURES for name, cell in _change(other, m, (s, fret), valid).items()},
            "radiated_j": at(board.radiated),
            **{f"radiated_{octave}_hz_j": known(v) for octave, v in zip(OCTAVES, board.octaves[s, fret]) if octave <= board.highest_valid},
            "rim_share": at(sum(share[g] for g in IN_RIM)),
            **{f"{group}_share": at(v) for group, v in share.items()},
            "wolf_strength": wolf and wolf.strength, "wolf_split_hz": wolf and wolf.split,
        }  # fmt: skip


def _change(other, measure, place, valid):
    """{column: value} of a note's change of one measure; of the sheet's own build there is none."""
    name, unit = measure.name.replace(" ", "_"), "db" if measure.decibel else "ratio"
    if other is None:
        return {
            f"{name}_{unit}": (0.0 if measure.decibel else 1.0) if valid else None,
            f"{name}_bar": None,
            f"{name}_word": None,
        }
    n = other.notes[measure.key]
    told = lambda v: known(10 * v / np.log(10) if measure.decibel else np.exp(v))
    side = n.side[place]
    word = None if not n.known[place] else "open" if np.isnan(side) else "changed" if side else "unchanged"
    return {f"{name}_{unit}": told(n.change[place]), f"{name}_bar": told(n.bar[place]), f"{name}_word": word}


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
    whole, notes = held_words(c)
    return {
        "verdict": {"whole": whole, "single_notes": notes}, "why": c.why,
        **{m.name.replace(" ", "_"): _judged(c, m) for m in MEASURES},
        "octaves_db": {str(octave): known(v) for octave, v in zip(OCTAVES, c.octaves_db)},
        "radiated_db": known(c.radiated_db), "mobility_db": known(c.mobility_db), "model_error": MODEL_ERROR,
        "modes": _modes(c.shifts), "flip": vars(c.flip) if c.flip else None, "rim_stiffness_ratio": stiffness,
        "paired": {key: vars(p) for key, p in c.paired.items()} or None,
    }  # fmt: skip


def _judged(c, m):
    """One measure: the median over the notes with its doubts, and single notes."""
    j, n = c.judged[m.key], c.notes[m.key]
    return {
        "ratio": j.ratio, "doubts": {name: list(ends) for name, ends in j.doubts.items()}, "all_doubts": [j.low, j.high],
        "verdict": j.word,
        "notes": {"changed": n.share(-1, 1), "unchanged": n.share(0), "open": n.open, "verdict": n.word},
    }  # fmt: skip


def _modes(shifts: BodyShifts):
    """The lowest modes of the body; lists, null where a mode has no partner."""
    first = lambda values: [known(v) for v in values[:LOWEST_MODES]]
    return {
        "frequency_hz": first(shifts.frequency), "shift_percent": first(100 * (shifts.ratio - 1)),
        "loss_factor": first(shifts.loss_factor), "loss_factor_change_percent": first(100 * (shifts.loss_ratio - 1)),
    }  # fmt: skip


def both_words(study: Study) -> list[dict[str, Plain]]:
    """Both words on every build, all holdings and measures joined."""
    rows: list[dict[str, Plain]] = []
    for build in study.builds[1:]:
        if study.beside(build.name):
            v = verdict_of(study, build.name)
            rows.append({
                "build": build.name, "label": build.label, "whole": v.whole, "single_notes": v.notes, "open": left_open(study, v),
                "mesh_that_would_tell_mm": None if v.mesh is None else 1e3 * v.mesh,
            })  # fmt: skip
    return rows


def moved(study: Study) -> list[dict[str, Plain]]:
    """The notes of the build that is asked for that move most."""
    strings = study.strings.strings
    return [
        {
            "how": n.how, "note": note_place(n, strings), "change": change_of(n), "told": said_of(n), "nearest_mode": reason_of(n),
            "string": strings[n.string].name, "fret": n.fret, "measure": n.measure.name,
        }
        for n in most_moved(study, solid_linings(study).name)
    ]  # fmt: skip


def as_json(study: Study) -> dict[str, Plain]:
    """The whole study for machines."""
    made = provenance(study.source, study.sizes, study.unknowns)
    about = About(study.body, "air, strings", LABEL, TWO_SIZES, NOT_MODELLED, made, MODEL_ERROR, study.notes)
    pluck = study.pluck
    return told(about, {
        "first_screen": median_screen(study).as_json,
        "answer": " ".join(answer(study)),
        "what_would_change_it": changes(study),
        "on_the_bench": BENCH,
        "behind_the_answer": behind(study),
        "verdicts": both_words(study),
        "most_moved": moved(study),
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
        "thresholds": [_threshold(t) for t in (*DECIDING, PLAYERS)],
        "thresholds_not_used": list(NOT_USED),
        "wood_draws": study.draws,
        "strings": study.strings.title,
        "pluck": {
            "from_saddle_mm": 1e3 * pluck.distance, "width_mm": 1e3 * pluck.width,
            "angle_from_square_to_the_top_deg": float(np.degrees(pluck.angle)), "force_n": pluck.force,
        },
        "joints": [joint_of(study.body, plate).words for plate in ("top", "back")],
        "strings_assumed": list(study.strings.assumed),
    })  # fmt: skip


def _threshold(t):
    return vars(t) | {"measure": t.measure.name, "told": t.told}


# --- the page ---


def write_report(
    study: Study, out: Path, pictures: bool = True, say: Callable[[str], None] = lambda text: None
) -> list[Path]:
    """Write index.html, tables, sustain.json and the maps into the folder `out`; returns the paths written."""
    data, first = as_json(study), median_screen(study)
    maps = draw_maps(study, out / "pictures", say) if pictures else {}
    machine, notes = write_json(out / "sustain.json", data), write_table(out / "notes.csv", per_note(study))
    table = write_table(out / "builds.csv", flat_rows(per_build(study)))
    lead, rest = answer(study)
    shares = {how: [(b.label, study.played[b.name, how].share) for b in study.builds] for how in study.holdings}
    charts = lambda drawn, how: [drawn(real(study, how), m, how) for m in MEASURES if real(study, how)]
    title = f"{study.body.name}: would you hear the rim?"
    summary = write_summary(first, title, study.source, out)
    page = write_page(out / "index.html", "sustain/page.html.j2", {
        "source": study.source, "title": title,
        "study": study, "data": data, "lead": lead, "rest": rest, "first": first, "cautions": cautions.RIM,
        "holdings": study.holdings, "span": span, "measures": MEASURES, "thresholds": (*DECIDING, PLAYERS), "compared": {b.name: study.beside(b.name) for b in study.builds[1:]},
        "octaves": OCTAVES, "footnote": FOOTNOTE,
        "boards_note": BOARDS, "flip_ends": flip_ends(study), "hand": HAND if PLAYED in study.holdings else "",
        "energy": {how: energy_svg(rows, how) for how, rows in shares.items()},
        "spreads": {how: charts(spread_svg, how) for how in study.holdings},
        "doubts": {how: charts(uncertainty_svg, how) for how in study.holdings},
        "maps": {how: [(p.relative_to(out).as_posix(), words) for p, words in drawn] for how, drawn in maps.items()},
        "strings_assumed": together(study.strings.assumed), "radiation": RADIATION, "string": STRING, "unexplained": LARGEST,
    })  # fmt: skip
    return [page, table, notes, machine, summary]


def together(lines: Iterable[str]) -> list[str]:
    """Lines 'E2 core: words' of several strings joined where the words are the same: 'core (E2, A2): words'."""
    names: dict[str, list[str]] = {}
    for line in lines:
        name, _, rest = line.partition(" ")
        names.setdefault(rest, []).append(name)
    parts = [(rest.partition(": "), of) for rest, of in names.items()]
    return [f"{what.replace('_', ' ')} ({', '.join(of)}): {words}" for (what, _, words), of in parts]


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
