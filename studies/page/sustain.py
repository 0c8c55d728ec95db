"""What the sustain study and the sounds found, turned into sections of the one-file page."""

import io
import re

from scipy.signal import resample_poly

from meshes.holding import LAP
from studies.common.table import Table
from studies.common.two_meshes import LIMIT
from studies.common.words import percent, percent_change, signed, span
from studies.notes.sound import RATE, common_gain, write_wav
from studies.page.modes import png
from studies.page.sections import HELD, Drawing, Picture, Section, Sound, flow_drawing, grams, inline
from studies.sustain.answer import answer, behind
from studies.sustain.charts import uncertainty_svg
from studies.sustain.hearing import NOT_AT_HAND, TOLERANCES
from studies.sustain.maps import DECAY, DISSIPATED, RATIO
from studies.sustain.page import leading, real
from studies.sustain.pictures import extremes, maps_of
from studies.sustain.result import HOLDINGS
from studies.sustain.words import matters, outside_check, wolves

TITLE = "does the rim's build change how long notes last?"
SLOWER = 4  # the sounds hold nothing above 1 kHz: a quarter of the rate keeps them whole and the page small
MAP_DPI = 115


def lead(study):
    """The answer as lines: its first sentence, the rest of it, then in short paragraphs what stands behind it."""
    first, rest = leading(answer(study))
    return (first, rest, *paragraphs(behind(study)))


def paragraphs(text, least=260):
    """Sentences of a text joined into paragraphs of at least some characters; the last may be shorter."""
    found = [""]
    for sentence in re.split(r"(?<=[.?!]) (?=[A-Z0-9])", text):
        if len(found[-1]) >= least:
            found.append("")
        found[-1] = f"{found[-1]} {sentence}".strip()
    return tuple(found)


def pluck_flow(study):
    """Section: the energy of a pluck, mean over the valid notes, for every way to hold the guitar."""
    drawings = tuple(
        flow_drawing(study.own[how].share, "energy of a pluck", how, f"pluck{k}") for k, how in enumerate(HOLDINGS)
    )
    mm = f"{1e3 * study.pluck.distance:.0f} mm"
    note = (
        f"The sheet's own build; mean over {_notes(study)} notes up to {study.highest_valid:.0f} Hz, plucked {mm} from the saddle, until all "
        "is still. Breadth of a ribbon: its share. Braces are those of top and back; the heat in the opening is friction of the air."
    )
    return Section(
        "flow", "From the pluck to each part and to the air", "energy flow", drawings=drawings, after=(note,)
    )


def _notes(study):
    return int(next(iter(study.own.values())).board.valid.sum())


def verdicts(study):
    """Section: each build's notes against the sheet's own, and whether anybody could hear it."""
    tables = tuple(_table(study, how) for how in HOLDINGS)
    texts = (
        "Decay times as ratios to the sheet's own build, median over the notes: string losses are hardly known, and a ratio depends on them "
        "less than seconds do. What is radiated, the weight of the rim with blocks and the pull across the top's grain in dry air stand beside each verdict.",
    )
    tolerances = tuple(f"- {t.name}: {span(t.low, t.high, 0)} are not heard. {t.source}." for t in TOLERANCES)
    why = tuple(
        f"- {c.build.label}, {how}: {c.why}."
        for (_, how), c in study.compared.items()
        if c.why and c.build.name != LIMIT
    )
    after = (
        "Published tolerances of hearing, each asked by itself:",
        *tolerances,
        *(f"- not applied: {n}." for n in NOT_AT_HAND),
    )
    return Section(
        "hearing", "Could anybody hear it?", "hearing", texts=texts, tables=tables,
        after=((("Why:", *why) if why else ()) + after),
    )  # fmt: skip


def _table(study, how):
    own, stress = study.own[how], study.dry.builds
    rows = [(own.build.label, _grams(study, "sheet"), f"{own.median.decay_time:.1f} s", f"{own.median.early_decay_time:.1f} s",
             percent(own.rim), "–", f"{1e-6 * stress['sheet'].top:.1f} MPa", "–")]  # fmt: skip
    for build in study.builds[1:]:
        c, mine = study.compared[build.name, how], study.played[build.name, how]
        rows.append(
            (
                build.label + (f"\n{build.note}" if build.note else ""),
                _grams(study, build.name),
                f"{percent_change(c.ratio)}\n{percent_change(c.low)} to {percent_change(c.high)}",
                percent_change(c.early.ratio),
                percent(mine.rim),
                f"{signed(c.radiated_db, 1)} dB",
                f"{1e-6 * stress[build.name].top:.1f} MPa",
                c.verdict.word,
            )
        )
    head = ("build of the rim", "weight of the rim with blocks", "notes last\nwith all doubts", "early decay", "heat in the rim", "energy radiated",
            f"pull across the top's grain at {study.dry.used:g} %", "by every tolerance")  # fmt: skip
    note = f"Wolf notes of the sheet's own build: {wolves(study, own)}."
    return Table(HELD[how], head, tuple(rows), note)


def _grams(study, name):
    return grams(study.rim_g[name], study.rim_g["sheet"], name == "sheet")


def maps(study, chosen):
    """Section: fretboard maps of the sheet's own build and of the ratios of builds `chosen` (names), on common scales."""
    order = ["sheet", *chosen]
    shown = maps_of(study, [n for n in chosen if any((n, how) in study.compared for how in HOLDINGS)])
    shown.sort(key=lambda m: (order.index(m.played.build.name), (DECAY, DISSIPATED, RATIO).index(m.measure)))
    pictures = []
    for m in shown:
        heading = f"{m.played.build.label}, {m.played.how}"
        pictures.append(Picture(inline(png(m.figure(heading), MAP_DPI), "image/png"), extremes(m, heading)))
    text = "Every string at every fret. Notes above the computed modes are hatched, not guessed. Maps of one figure share one scale."
    return Section("maps", "Along the fretboard", "fretboard", texts=(text,), pictures=tuple(pictures))


def doubt_drawings(study):
    """One drawing for each way to hold the guitar: each doubt of each ratio by itself, over the tolerances of hearing."""
    drawings = []
    for how in HOLDINGS:
        if rows := real(study, how):
            svg = uncertainty_svg(rows, how)
            drawings.append(Drawing(f"Change of the decay time, {how}", svg, svg))
    return tuple(drawings)


def doubt_lines(study):
    """Lines for the section on error bars: the doubts, and what follows from them."""
    drawn = f"{study.draws} pairs of boxes from the same boards" if study.draws else "not computed in this run"
    lines = [
        f"- Wood scatter: what two boards of one species do to a pair of boxes; {drawn}. Measuring your own boards lessens it.",
        "- Losses of strings and of the rim: ranges, since they are hardly measured. A measured loss factor lessens it.",
    ]
    flips = [
        f"- {c.build.label}, {c.how}: the verdict becomes '{c.flip.word}' where the rim's loss factor is {c.flip.loss_factor:.3f} "
        f"({c.flip.factor:.2g} times the given one)"
        for c in study.compared.values()
        if c.flip and c.build.name != LIMIT
    ]
    flips = ["The rim's loss factor at which a verdict flips:", *flips] if flips else []
    told = [f"- {line}" for line in matters(study)]
    told = ["Inputs that would change a verdict:", *told] if told else []
    return tuple(lines), (*flips, *told, outside_check(study))


# --- sounds ---


def sounds_of(heard, strings, pluck, labels, notes=2):
    """Sounds of two builds [listen.Heard], at one gain: the phrase, then a few single notes."""
    from studies.notes.listen import NOTES, sounds

    signals, _ = sounds(heard, strings, pluck, NOTES[:notes])
    names = sorted(signals, key=lambda item: item != "phrase")
    small = {(n, b): resample_poly(s, 1, SLOWER) for n in names for b, s in signals[n].items()}
    gain = common_gain(small.values())
    found, last = [], None
    for (item, build), s in small.items():
        words = item.replace("-", " ").replace("phrase", "A short phrase")
        found.append(Sound(labels[build], inline(wav(gain * s), "audio/wav"), words if item != last else ""))
        last = item
    return tuple(found)


def wav(signal, rate=RATE // SLOWER):
    """WAV file (bytes), 16 bits, of a signal between -1 and 1."""
    out = io.BytesIO()
    write_wav(out, signal, rate)
    return out.getvalue()


def listening(sounds, valid_to, how=LAP):
    """Section of Sounds, which hold nothing above `valid_to` [Hz]."""
    text = (
        f"Computed, not recorded: sound pressure 1 m in front of the saddle in free air, {how}, one string at a time. All are plucked alike and "
        f"played at one gain: what differs in loudness is the model's. Nothing sounds above {valid_to:.0f} Hz, where the computed modes end; a "
        "real guitar does. To compare without knowing which is which, use rimwork listen."
    )
    return Section("listen", "Listen", "listen", texts=(text,), sounds=sounds)
