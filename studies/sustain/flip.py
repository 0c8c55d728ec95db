"""The rim loss at which the word on the guitar on the whole changes."""

from collections.abc import Callable, Mapping

import numpy as np

from fem.body_modes import BodyModes
from studies.sustain.doubts import median_ratio
from studies.sustain.fretboards import Playing, few_notes, times_rim
from studies.sustain.result import Flip
from studies.sustain.rule import Ranges, combined, joined, side
from studies.sustain.thresholds import LIMITS

REACH = 1.0  # decades of the rim's loss, either way, in which a flip is looked for
HALVINGS = 4


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
    playing: Playing, pair: tuple[BodyModes, BodyModes], ratios: Mapping[str, float], doubts: Mapping[str, Ranges]
) -> Callable[[float], str]:
    """Function factor -> word of one holding with the rim losses of a build and its reference multiplied.

    ratios: {measure's key: median ratio with the losses as given}; they follow the few notes'. doubts: of each, all but
    these losses; they keep their size on a log scale.
    """

    def few(factor):
        return [few_notes(playing, body if factor == 1 else times_rim(body, factor)) for body in pair]

    given = {key: median_ratio(*both) for key, *both in zip(LIMITS, *few(1.0))}

    def word(factor):
        sides = []
        for key, *both in zip(LIMITS, *few(factor)):
            moved = median_ratio(*both) / given[key]
            low, high = combined(ratios[key], doubts[key])
            sides.append(side(moved * low, moved * high, LIMITS[key]))
        return joined(np.array(sides)[None])

    return word
