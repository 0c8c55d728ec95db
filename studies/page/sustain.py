"""What the sustain study and the sounds found, turned into sections of the one-file page."""

import io
import re
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from scipy.signal import resample_poly

from fem.strings import Pluck, String
from meshes.supports import LAP
from meshes.unexplained_loss import LARGEST
from studies.common.mesh_error import LIMIT
from studies.common.table import Table
from studies.common.words import percent
from studies.notes.listen import NOTES, Heard, sounds
from studies.notes.sound import RATE, common_gain, write_wav
from studies.page.modes import png
from studies.page.sections import HELD, Drawing, Picture, Section, Sound, flows, grams, inline, noted_label
from studies.sustain.answer import BENCH, answer, changes, solid_linings
from studies.sustain.behind import behind
from studies.sustain.charts import uncertainty_svg
from studies.sustain.maps import DECAY, DISSIPATED, RATIO
from studies.sustain.moved import change_of, most_moved, note_place, reason_of, said_of
from studies.sustain.pictures import extremes, maps_of
from studies.sustain.result import Study
from studies.sustain.spread import spread_svg
from studies.sustain.thresholds import DECIDING, MEASURES, NOT_USED, PLAYERS
from studies.sustain.verdict import held_words, real, verdict_of
from studies.sustain.words import matters, outside_check, wolves

TITLE = "would you hear the rim?"
SLOWER = 4  # the sounds hold nothing above 1 kHz: a quarter of the rate keeps them whole and the page small
MAP_DPI = 115


def lead(study: Study) -> tuple[str, ...]:
    """The answer as lines: both verdicts, the rest of it, then in short paragraphs what would change it and what stands behind it."""
    return (*answer(study), *paragraphs(f"{changes(study)} {BENCH} {behind(study)}"))


def paragraphs(text: str, least: int = 260) -> tuple[str, ...]:
    """Sentences of a text joined into paragraphs of at least some characters; the last may be shorter."""
    joined = [""]
    for sentence in re.split(r"(?<=[.?!]) (?=[A-Z0-9])", text):
        if len(joined[-1]) >= least:
            joined.append("")
        joined[-1] = f"{joined[-1]} {sentence}".strip()
    return tuple(joined)


def pluck_flow(study: Study) -> Section:
    """Section: the energy of a pluck, mean over the valid notes, for every way to hold the guitar."""
    notes = int(study.own[LAP].board.valid.sum())
    note = (
        f"; mean over {notes} notes up to {study.highest_valid:.0f} Hz, plucked {1e3 * study.pluck.distance:.0f} mm from the saddle, "
        "until all is still."
    )
    return flows("pluck", {how: p.share for how, p in study.own.items()}, "energy of a pluck", note)


def verdicts(study: Study) -> Section:
    """Section: each build's notes against the sheet's own, and whether anybody could hear it."""
    text = (
        "Changes against the sheet's own build, median over the notes: string losses are hardly known, and a change depends on them "
        "less than seconds do. The weight of the rim with blocks and the pull across the top's grain in dry air stand beside each."
    )
    found = [(b.label, verdict_of(study, b.name)) for b in study.builds[1:] if study.beside(b.name)]
    joined = Table(
        "However it is held", ("build of the rim", "the guitar on the whole", "single notes"),
        tuple((label, v.whole, v.notes) for label, v in found),
    )  # fmt: skip
    why = [f"- {c.build.label}, {c.how}: {c.why}." for c in study.compared.values() if c.why and c.build.name != LIMIT]
    after = (
        *(["What changed the late decay:", *why] if why else []),
        "Thresholds of hearing:",
        *(f"- {t.measure.words}: {t.told} is not heard. {t.source} ({t.read})." for t in DECIDING),
        f"- shown, never deciding: {PLAYERS.told} in {PLAYERS.measure.words}. {PLAYERS.source}.",
        *(f"- not used: {n}." for n in NOT_USED),
    )
    tables = (joined, *(_table(study, how) for how in study.holdings), _moved(study))
    drawings = _charts(study, spread_svg, "Every note")
    return Section(
        "hearing", "Could anybody hear it?", "hearing", texts=(text,), tables=tables, drawings=drawings, after=after
    )


def _charts(study, drawn, heading):
    """A Drawing for each measure and way to hold the guitar."""
    svgs = {(m, how): drawn(rows, m, how) for how in study.holdings for m in MEASURES if (rows := real(study, how))}
    return tuple(Drawing(f"{heading}, {m.words}, {how}", svg, svg) for (m, how), svg in svgs.items())


def _table(study, how):
    own, pull = study.own[how], {name: f"{1e-6 * d.top:.1f} MPa" for name, d in study.dry.builds.items()}
    weight = lambda name: grams(study.rim_g[name], study.rim_g["sheet"], name == "sheet")
    rows = [(own.build.label, weight("sheet"), "–", f"{own.median.early_decay_time:.1f} s", f"{own.median.decay_time:.1f} s",
             percent(own.rim), pull["sheet"], "–", "–")]  # fmt: skip
    for build in study.builds[1:]:
        c, mine = study.compared[build.name, how], study.played[build.name, how]
        judged = [(m, c.judged[m.key]) for m in MEASURES]
        rows.append((
            noted_label(build.label, build.note), weight(build.name), *(f"{m.told(j.ratio)}\n{m.span(j.low, j.high)}" for m, j in judged),
            percent(mine.rim), pull[build.name], *held_words(c),
        ))  # fmt: skip
    head = ("build of the rim", "weight of the rim with blocks", *(f"{m.name}\nwith all doubts" for m in MEASURES), "heat in the rim",
            f"pull across the top's grain at {study.dry.used:g} %", "on the whole", "single notes")  # fmt: skip
    note = f"Words by this way to hold it alone. Wolf notes of the sheet's own build: {wolves(study, own)}."
    return Table(HELD.get(how, how), head, tuple(rows), note)


def _moved(study):
    strings, found = study.strings.strings, most_moved(study, solid_linings(study).name)
    rows = [(note_place(n, strings), n.how, change_of(n), said_of(n), reason_of(n)) for n in found]
    head = ("note", "held", "change, with its bar", "", "nearest mode of the body")
    return Table("Notes most moved by solid linings against kerfed ones", head, tuple(rows))


def maps(study: Study, chosen: Iterable[str]) -> Section:
    """Section: fretboard maps of the sheet's own build and of the ratios of builds `chosen` (names), on common scales."""
    order = ["sheet", *chosen]
    shown = maps_of(study, [n for n in chosen if study.beside(n)])
    shown.sort(key=lambda m: (order.index(m.played.build.name), (DECAY, DISSIPATED, RATIO).index(m.measure)))
    pictures = []
    for m in shown:
        heading = f"{m.played.build.label}, {m.played.how}"
        pictures.append(Picture(inline(png(m.figure(heading), MAP_DPI), "image/png"), extremes(m, heading)))
    text = "Every string at every fret. Notes above the computed modes are hatched, not guessed. Maps of one figure share one scale."
    return Section("maps", "Along the fretboard", "fretboard", texts=(text,), pictures=tuple(pictures))


def doubt_drawings(study: Study) -> tuple[Drawing, ...]:
    """Drawings of each doubt of each change by itself, over the threshold of hearing."""
    return _charts(study, uncertainty_svg, "Doubts about the change")


def doubt_lines(study: Study) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Lines for the section on error bars: the doubts, and what follows from them."""
    drawn = f"{study.draws} pairs of boxes from the same boards" if study.draws else "not computed in this run"
    lines = (
        f"- Wood scatter: what two boards of one species do to a pair of boxes; {drawn}. Measuring your own boards lessens it.",
        "- Losses of strings and of the rim: ranges, since they are hardly measured. A measured loss factor lessens it.",
        f"- Unexplained loss: published guitars lose up to {LARGEST:g} of loss factor more in their first resonances than the example "
        "guitars as computed. It may sit in the wood, in joints and linings or in the soundhole, or have been the holder's: the range spans all.",
        "- The player, on the lap and played: the player's body three times softer or firmer, bare skin, thick clothes; played, the fretting hand too, which is hardly measured. And the direction of the pluck, which is yours to choose.",
    )
    told = [f"- {line}" for line in matters(study)]
    return lines, ("Inputs that would change a word:", *told, outside_check(study))


# --- sounds ---


def sounds_of(
    heard: Sequence[Heard], strings: Sequence[String], pluck: Pluck, labels: Mapping[str, str], notes: int = 2
) -> tuple[Sound, ...]:
    """Sounds of two builds, at one gain: the phrase, then a few single notes. labels: {build: words}."""
    signals, _ = sounds(heard, strings, pluck, NOTES[:notes])
    names = sorted(signals, key=lambda item: item != "phrase")
    small = {(name, build): resample_poly(s, 1, SLOWER) for name in names for build, s in signals[name].items()}
    gain = common_gain(small.values())
    players, last = [], None
    for (name, build), signal in small.items():
        heading = "" if name == last else name.replace("-", " ").replace("phrase", "A short phrase")
        players.append(Sound(labels[build], inline(wav(gain * signal), "audio/wav"), heading))
        last = name
    return tuple(players)


def wav(signal: np.ndarray) -> bytes:
    """WAV file, 16 bits, of a signal between -1 and 1."""
    out = io.BytesIO()
    write_wav(out, signal, RATE // SLOWER)
    return out.getvalue()


def listening(players: tuple[Sound, ...], valid_to: float) -> Section:
    """Section of Sounds, which hold nothing above `valid_to` [Hz]."""
    text = (
        f"Computed, not recorded: sound pressure 1 m in front of the saddle in free air, {LAP}, one string at a time. All are plucked alike and "
        f"played at one gain: what differs in loudness is the model's. Nothing sounds above {valid_to:.0f} Hz, where the computed modes end; a "
        "real guitar does. To compare without knowing which is which, use rimwork listen; with --pair smallest "
        "and --pair largest it writes what the doubts about losses and pluck leave."
    )
    return Section("listen", "Listen", "listen", texts=(text,), sounds=players)
