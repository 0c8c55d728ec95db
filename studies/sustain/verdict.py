"""From decay times of two builds to a ratio with its uncertainties, a verdict, and the rim loss at which the verdict flips."""

from collections.abc import Callable, Iterable, Mapping

import numpy as np

from fem.body_modes import STRING, BodyModes
from fem.fretboard import Fretboard, Wolf
from meshes.supports import FREE, LAP
from studies.common.draws import PairedSummary, log_ratios, paired_summary
from studies.common.groups import GROUPS, grouped
from studies.common.two_meshes import COARSER
from studies.sustain.fretboards import Playing, decay_times, times_rim
from studies.sustain.hearing import TOLERANCES, Range, Ranges, audible_share, combined, decisive, verdict, why
from studies.sustain.result import Flip, Judged
from studies.sweep.scatter import ScatteredNotes

REACH = 1.0  # decades of the rim's loss, either way, in which a flip is looked for
HALVINGS = 4
SUPPORT = {FREE: "bands", LAP: "player"}


def median_ratio(build: np.ndarray, reference: np.ndarray) -> float:
    """Median over notes of build/reference, missing notes left out. ValueError where none is left."""
    ratios = log_ratios(build, reference)
    if not np.isfinite(ratios).any():
        raise ValueError("no note has a decay time in both builds; expected more body modes (--modes) or a finer mesh")
    return float(np.exp(np.nanmedian(ratios)))


def over_reference(board: Fretboard, reference: Fretboard, measure: str) -> float:
    """Median over notes of one measure of a Fretboard over that of another."""
    return median_ratio(getattr(board, measure), getattr(reference, measure))


def t60_ratio(playing: Playing, body: BodyModes, base: BodyModes) -> float:
    """Median over the few notes of T60 on one body over that on another."""
    return median_ratio(*(decay_times(playing, b, alone=True)[0] for b in (body, base)))


def mesh_uncertainty(fine: np.ndarray, coarse: np.ndarray) -> Range:
    """(low, high) of the median over notes of ratios, from the ratios of every note on two meshes (arrays of one shape).

    The difference of the two medians, but at least the standard error of the median that the notes' own differences make
    (1.25 sigma/sqrt(n), sigma from their quartiles): two medians may agree by chance. Either way, times what is left on the
    finer mesh.
    """
    off = np.log(fine) - np.log(coarse)
    off = off[np.isfinite(off)]
    if not off.size:
        raise ValueError("no note has a decay time on both meshes; expected more body modes (--modes) or a finer mesh")
    middle, rough = (float(np.exp(np.nanmedian(np.log(r)))) for r in (fine, coarse))
    chance = 1.25 * np.subtract(*np.percentile(off, [75, 25])) / 1.349 / np.sqrt(off.size)
    left = max(abs(np.log(middle / rough)), chance) / (COARSER - 1)
    return float(middle * np.exp(-left)), float(middle * np.exp(left))


def range_uncertainty(ratio: float, given: float, ends: Iterable[float]) -> Range:
    """(low, high) of a ratio from the ratios of few notes as given and at both ends of a range."""
    ratios = [float(ratio), *(float(ratio * end / given) for end in ends)]
    return min(ratios), max(ratios)


def wood_uncertainty(ratio: float, scatter: ScatteredNotes, name: str, how: str, measure: str) -> Range:
    """(low, high) of a ratio from the draws of a build; of one that was not drawn the widest of those that were."""
    drawn = [name] if name in scatter.builds else [b for b in scatter.builds if b != "sheet"]
    pairs = [p for b in drawn if (p := paired_wood(scatter, b, how, measure))]
    return ratio * min(1.0, *(p.low / p.median for p in pairs)), ratio * max(1.0, *(p.high / p.median for p in pairs))


def paired_wood(
    scatter: ScatteredNotes | None, name: str, how: str, measure: str = "decay_time"
) -> PairedSummary | None:
    """PairedSummary of a build's times over those of the sheet's own; measure: one of TIMES.

    None without draws, and for a build that was not drawn.
    """
    if scatter is None or name not in scatter.builds:
        return None
    h, b, a = scatter.holdings.index(how), scatter.builds.index(name), scatter.builds.index("sheet")
    times = getattr(scatter, measure)
    return paired_summary(times[:, b, h], times[:, a, h])


def one_a_note(wolves: Iterable[Wolf]) -> tuple[Wolf, ...]:
    """Strongest first, one for each string and fret: of several body modes on a note the one that grips it hardest."""
    of_note: dict[tuple[int, int], Wolf] = {}
    for wolf in sorted(wolves, key=lambda w: -w.strength):
        of_note.setdefault((wolf.string, wolf.fret), wolf)
    return tuple(of_note.values())


# --- where the energy goes ---


def mean_shares(board: Fretboard, weight: np.ndarray | float = 1.0) -> dict[str, float]:
    """{group or 'string': mean over the valid notes of weight times the share of the pluck's energy}.

    Without weights they sum to 1; weights of 1/T60 make them rates [1/s].
    """
    share = by_group(board)
    return {group: float(np.mean((weight * share[group])[board.valid])) for group in (*GROUPS, STRING)}


def by_group(board: Fretboard) -> dict[str, np.ndarray]:
    """{group or 'string': (strings, frets + 1) share of each pluck's energy} of a Fretboard."""
    body = {part: v for part, v in board.share.items() if part != STRING}
    return grouped(body) | {STRING: board.share[STRING]}


def named_support(rates: Mapping[str, float], how: str) -> dict[str, float]:
    """Rates {group: 1/s} with what supports the guitar called by its name, for hearing.why."""
    return {SUPPORT[how] if group == "supports" else group: rate for group, rate in rates.items()}


def judged(
    ratio: float, uncertain: dict[str, Range], before: Mapping[str, float], after: Mapping[str, float], build: str
) -> Judged:
    """Judged of a ratio; before, after: rates {group: 1/s} of the reference and of the build; build: in words."""
    low, high = combined(ratio, uncertain)
    reason = why(low, high, before, after, build)
    return Judged(ratio, uncertain, low, high, verdict(low, high), reason, tuple(decisive(ratio, uncertain)))


def audible(by_note: np.ndarray) -> dict[str, float]:
    """{tolerance: share of notes whose ratio leaves it}."""
    return {t.name: audible_share(by_note, t) for t in TOLERANCES}


# --- the rim loss at which the word changes ---


def find_flip(word_at: Callable[[float], str], rim_loss: float) -> Flip | None:
    """The change of word_at(factor) nearest to 1 within REACH decades, or None; rim_loss: loss factor at factor 1.

    Looked for at half the reach and at the reach, either way, then bisected on a log scale: a word that changes twice
    between two of these places is missed. Factors are powers of ten of dyadic fractions, so that calls repeat exactly.
    """
    now, changes = word_at(1.0), []
    for way in (-1, 1):
        near = 0.0
        for far in (way * REACH / 2, way * REACH):
            if (word := word_at(10**far)) != now:
                for _ in range(HALVINGS):
                    middle = (near + far) / 2
                    if (there := word_at(10**middle)) == now:
                        near = middle
                    else:
                        far, word = middle, there
                changes.append((far, word))
                break
            near = far
    if not changes:
        return None
    exponent, word = min(changes, key=lambda change: abs(change[0]))
    return Flip(10**exponent, 10**exponent * rim_loss, word, now)


def word_with_losses(
    playing: Playing, pair: tuple[BodyModes, BodyModes], given: float, ratio: float, uncertain: Ranges
) -> Callable[[float], str]:
    """Function factor -> word of the verdict with the rim losses of a build and its reference multiplied.

    given: the few notes' ratio with the losses as given; it follows them. uncertain: all but these losses; they keep their
    size on a log scale.
    """

    def word(factor):
        turned = given if factor == 1 else t60_ratio(playing, *(times_rim(body, factor) for body in pair))
        at = ratio * turned / given
        moved = {name: (at * low / ratio, at * high / ratio) for name, (low, high) in uncertain.items()}
        return verdict(*combined(at, moved)).word

    return word
