"""From decay times of two builds to a ratio with its doubts, a verdict, and the rim loss at which the verdict flips."""

import numpy as np

from fem.body_modes import STRING
from meshes.holding import FREE, LAP
from studies.common.draws import log_ratios, paired_summary
from studies.common.groups import GROUPS, grouped
from studies.common.two_meshes import COARSER
from studies.sustain.fretboards import decay_times, times_rim
from studies.sustain.hearing import TOLERANCES, audible_share, combined, decisive, verdict, why

REACH = 1.0  # decades of the rim's loss, either way, in which a flip is looked for
HALVINGS = 4
HOLDER = {FREE: "bands", LAP: "player"}


def median_ratio(build, reference):
    """Median over notes of build/reference, missing notes left out. ValueError where none is left."""
    found = log_ratios(build, reference)
    if not np.isfinite(found).any():
        raise ValueError("no note has a decay time in both builds; expected more body modes (--modes) or a finer mesh")
    return float(np.exp(np.nanmedian(found)))


def over(board, reference, key):
    """Median over notes of one measure of a Fretboard over that of another."""
    return median_ratio(getattr(board, key), getattr(reference, key))


def mesh_doubt(fine, coarse):
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


def range_doubt(ratio, given, ends):
    """(low, high) of a ratio from the ratios of few notes as given and at both ends of a range."""
    found = [float(ratio), *(float(ratio * end / given) for end in ends)]
    return min(found), max(found)


def wood_doubt(ratio, paired):
    """(low, high) of a ratio from a PairedSummary."""
    return ratio * min(1.0, paired.low / paired.median), ratio * max(1.0, paired.high / paired.median)


def scatter_doubt(ratio, scatter, name, how, key):
    """wood_doubt of a build that was drawn; for another one the widest of those that were, downward and upward."""
    drawn = [name] if name in scatter.builds else [b for b in scatter.builds if b != "sheet"]
    ends = np.array([wood_doubt(ratio, paired_wood(scatter, b, how, key)) for b in drawn])
    return float(ends[:, 0].min()), float(ends[:, 1].max())


def paired_wood(scatter, name, how, key="decay_time"):
    """PairedSummary of a build's times over those of the sheet's own; key: of a night_sustain.Scatter.

    None without a Scatter, and for a build that was not drawn.
    """
    if scatter is None or name not in scatter.builds:
        return None
    h, b, a = scatter.holdings.index(how), scatter.builds.index(name), scatter.builds.index("sheet")
    times = getattr(scatter, key)
    return paired_summary(times[:, b, h], times[:, a, h])


def one_a_note(wolves):
    """(Wolf, ...) strongest first, one for each string and fret: of several body modes on a note the one that grips it hardest."""
    found = {}
    for wolf in sorted(wolves, key=lambda w: -w.strength):
        found.setdefault((wolf.string, wolf.fret), wolf)
    return tuple(found.values())


# --- where the energy goes ---


def shares(board):
    """{group or 'string': mean over the valid notes of the share of the pluck's energy}; sums to 1."""
    return _means(board, np.ones(board.valid.shape))


def rates(board):
    """{group or 'string': 1/s}: mean over the valid notes of share over T60."""
    return _means(board, 1 / board.decay_time)


def by_group(board):
    """{group or 'string': (strings, frets + 1) share of each pluck's energy} of a Fretboard."""
    body = {part: v for part, v in board.share.items() if part != STRING}
    return grouped(body) | {STRING: board.share[STRING]}


def _means(board, weight):
    found = by_group(board)
    return {group: float(np.mean((weight * found[group])[board.valid])) for group in (*GROUPS, STRING)}


def named_holder(rates, how):
    """Rates {group: 1/s} with what holds the guitar called by its name, for hearing.why."""
    return {HOLDER[how] if group == "supports" else group: rate for group, rate in rates.items()}


def judged(ratio, doubts, before, after, words):
    """(low, high, Verdict, why, decisive doubts) of a ratio; before, after: rates of the reference and of the build."""
    low, high = combined(ratio, doubts)
    found = verdict(low, high, before, after, words)
    return low, high, found, why(low, high, before, after, words), tuple(decisive(ratio, doubts))


def audible(by_note):
    """{tolerance: share of notes whose ratio leaves it}."""
    return {t.name: audible_share(by_note, t) for t in TOLERANCES}


# --- the rim loss at which the word changes ---


def find_flip(word_at, reach=REACH, halvings=HALVINGS):
    """(factor, word beyond, word at 1) of the change of word_at(factor) nearest to 1 within `reach` decades; or None.

    Looked for at half the reach and at the reach, either way, then bisected on a log scale: a word that changes twice
    between two of these places is missed. Factors are powers of ten of dyadic fractions, so that calls repeat exactly.
    """
    now, found = word_at(1.0), []
    for way in (-1, 1):
        near = 0.0
        for far in (way * reach / 2, way * reach):
            if (word := word_at(10**far)) != now:
                for _ in range(halvings):
                    middle = (near + far) / 2
                    if (there := word_at(10**middle)) == now:
                        near = middle
                    else:
                        far, word = middle, there
                found.append((far, word))
                break
            near = far
    if not found:
        return None
    exponent, word = min(found, key=lambda item: abs(item[0]))
    return 10**exponent, word, now


def word_with_losses(playing, body, base, ratio, doubts):
    """Function factor -> word of the verdict with both builds' rim losses multiplied; doubts: all but the rim losses' own.

    The few notes' ratio follows the losses; the other doubts keep their size on a log scale.
    """
    given = median_ratio(*(decay_times(playing, b)[0] for b in (body, base)))

    def word(factor):
        few = [decay_times(playing, times_rim(b, factor), alone=True)[0] for b in (body, base)]
        at = ratio * median_ratio(*few) / given
        moved = {name: (at * low / ratio, at * high / ratio) for name, (low, high) in doubts.items()}
        return verdict(*combined(at, moved)).word

    return word
