"""The answer of the sustain study: a few sentences for the maker, and a second paragraph of what stands behind them."""

import numpy as np

from fem.body_modes import STRING
from meshes.holding import FREE, LAP
from studies.common.two_meshes import LIMIT
from studies.common.words import capital, change, percent, percent_change, quoted, several, span
from studies.sustain.hearing import CANNOT_TELL, NO_DIFFERENCE, TOLERANCES
from studies.sustain.result import WOOD

SOLID = "solid_laminated"
QUESTION = "Do solid linings lengthen sustain?"
MODEL = "The error of the model itself is not known and in none of these ranges."
WAYS = (FREE, LAP)
MOSTLY = 2.0  # times the range of pairs from which on the boards make most of what two guitars differ by


def answer(study):
    """The answer to QUESTION in a few sentences: heard or not, how much, why, which other build, and the price."""
    found, forward = of_solid(study)
    if None in found.values():
        return f"{QUESTION} Cannot tell: this run left those builds out."
    return " ".join([*_lead(found, forward), *_reason(found), *_others(study), *_price(study)])


def behind(study):
    """What stands behind the answer, in one paragraph."""
    found, forward = of_solid(study)
    single = [] if None in found.values() else [*_single_notes(study, found), *_measures(found, forward)]
    return " ".join([*single, *_heat(study), *_wood(study), MODEL])


def of_solid(study):
    """({how: Compared or None}, whether its ratios are of solid linings over the sheet's own): the builds that answer QUESTION."""
    forward = any((SOLID, how) in study.compared for how in WAYS)
    name = SOLID if forward else "kerfed"
    return {how: study.compared.get((name, how)) for how in WAYS}, forward


# --- the answer ---


def _lead(found, forward):
    words = {how: c.verdict.word for how, c in found.items()}
    if len(set(words.values())) == 1:
        lead = f"{QUESTION} {_plain(next(iter(words.values())), found, forward)}"
    else:
        lead = (
            f"{QUESTION} It depends on how the guitar is held: {'; '.join(f'{how}, {w}' for how, w in words.items())}."
        )
    other = "against the sheet's own rim" if forward else "(the sheet's own) against kerfed ones"
    parts = []
    for how, c in found.items():
        ratio, low, high = (c.ratio, c.low, c.high) if forward else (1 / c.ratio, 1 / c.high, 1 / c.low)
        parts.append(f"{change(ratio)} {how} ({span(low, high)} with every doubt computed)")
    return [lead, f"With solid linings {other} the median note lasts {' and '.join(parts)}."]


def _plain(word, found, forward):
    """The answer in a few words, from one verdict for both ways to hold the guitar."""
    if word == NO_DIFFERENCE:
        return "No audible difference over the whole fretboard of this guitar, whichever way it is held."
    if word == CANNOT_TELL:
        return "Cannot tell for this guitar."
    ratios = [c.ratio if forward else 1 / c.ratio for c in found.values()]
    if min(ratios) > 1:
        return "Yes, audibly, on this guitar."
    return "No: they shorten it audibly on this guitar." if max(ratios) < 1 else "An audible difference, either way."


def _reason(found):
    """Why the notes change, where anybody may hear it; what keeps the verdict open."""
    heard = [c for c in found.values() if c.why and c.verdict.word != NO_DIFFERENCE]
    sentences = [f"{capital(c.why)} ({c.how})." for c in heard]
    return sentences + ([_why_not(found)] if any(c.verdict.word == CANNOT_TELL for c in found.values()) else [])


def _why_not(found):
    """Sentence on what keeps the verdict open: the tolerances disagree, or doubts are too large."""
    doubts = list(dict.fromkeys(name for c in found.values() for name in c.decisive))
    open_ = {name for c in found.values() for name, word in c.verdict.by_tolerance.items() if word == CANNOT_TELL}
    if len(open_) < len(TOLERANCES):
        text = "The published tolerances of hearing disagree on such a difference: " + "; ".join(
            f"{how}, {', '.join(f'{word} by {quoted(name)}' for name, word in c.verdict.by_tolerance.items())}"
            for how, c in found.items()
        )
    else:
        text = "By every published tolerance of hearing the range reaches from inaudible to audible"
    return text + (f"; what would settle it first: {', '.join(doubts)}." if doubts else ".")


def _others(study):
    """Sentence on the other builds that can be made: which of them could be heard."""
    asked = SOLID if of_solid(study)[1] else "kerfed"
    names = [b.name for b in study.builds[1:] if b.name not in (asked, LIMIT)]
    rows = {name: [study.compared[name, how] for how in WAYS] for name in names}
    if not rows:
        return []
    quiet = [n for n, pair in rows.items() if all(c.verdict.word == NO_DIFFERENCE for c in pair)]
    told = [
        f"{pair[0].build.label}, {'; '.join(f'{c.verdict.word} {c.how} ({percent_change(c.ratio)})' for c in pair)}"
        for name, pair in rows.items() if name not in quiet
    ]  # fmt: skip
    if not told:
        ends = [c.ratio for pair in rows.values() for c in pair]
        labels = several(rows[n][0].build.label for n in quiet)
        return [f"No audible difference with {labels} either ({span(min(ends), max(ends))})."]
    rest = [f"with {several(rows[n][0].build.label for n in quiet)} no audible difference"] if quiet else []
    return [f"Other builds: {'; '.join([*told, *rest])}."]


def _price(study):
    """Drying stress and grams of solid linings beside the claim."""
    rows = {d.build.name: d for d in study.dry.rows}
    name = SOLID if SOLID in rows else "kerfed"
    if name not in rows:
        return []
    own, other = rows["sheet"], rows[name]
    grams = other.rim_g - own.rim_g
    return [
        f"The price: {other.build.label} weigh {abs(grams):.0f} g {'more' if grams >= 0 else 'less'}, and at {study.dry.used:g} % "
        f"humidity the top is pulled across the grain near the linings with {other.top / 1e6:.1f} MPa instead of {own.top / 1e6:.1f} MPa."
    ]


# --- behind it ---


def _single_notes(study, found):
    """Sentence on the notes that change more than the median does, either way, and what the mesh alone does to them."""
    told = []
    for t in TOLERANCES:
        shares = " and ".join(f"{percent(c.audible[t.name], 0)} ({how})" for how, c in found.items())
        mesh = " and ".join(f"{percent(study.mesh_by_note[how][t.name], 0)}" for how in found)
        told.append(f"{shares} of them leave {span(t.low, t.high, 0)} ({t.name}; by the mesh alone {mesh})")
    return [
        f"Single notes change more, some longer, some shorter, as resonances move past them: {'; '.join(told)}. Which notes "
        "these will be on your guitar is not predicted."
    ]


def _measures(found, forward):
    """Sentences where the beginning of the notes, or their sound alone, is judged by another word than the whole decay."""
    told = []
    for what, of in (
        ("beginning of the notes (the first 10 dB)", lambda c: c.early), ("sound still to come", lambda c: c.sound),
    ):  # fmt: skip
        other = {how: of(c) for how, c in found.items() if of(c).verdict.word != c.verdict.word}
        if other:
            ratio = lambda j: change(j.ratio if forward else 1 / j.ratio)
            told.append(
                f"By the {what} alone the word would be another: "
                + "; ".join(f"{how}, {ratio(j)}, {j.verdict.word}" for how, j in other.items())
                + "."
            )
    return told or ["The beginning of the notes and the decay of their sound, judged alone, give the same word."]


def _heat(study):
    """What the rim turns to heat, and what notes would last without that."""
    own = study.own
    rim = " and ".join(f"{percent(p.rim)} ({how})" for how, p in own.items())
    gain = " and ".join(
        f"{change(p.median['no_rim_loss'])} ({how}; {span(study.no_rim_low[how], study.no_rim_high[how])} over the range of "
        "the rim's losses)" for how, p in own.items()
    )  # fmt: skip
    string = np.mean([p.share[STRING] for p in own.values()])
    loss = ", whose losses are assumed: trust the ratios more than the seconds" if study.strings.loss_assumed else ""
    return [
        f"Of a pluck's energy {rim} turns to heat in the rim as the sheet builds it; a rim without any loss would let the "
        f"median note last {gain}.",
        f"{percent(string, 0)} turns to heat in the strings themselves{loss}.",
    ]


def _wood(study):
    """What other boards of the same woods do: to a pair from the same boards, and to two guitars from different ones."""
    drawn = [c for c in study.compared.values() if c.paired is not None and c.build.name != LIMIT]
    if not drawn:
        return ["How much two boxes of one plan differ by their boards was not computed (wood scatter)."]
    found, forward = of_solid(study)
    chosen = [c for c in found.values() if c is not None and c.paired is not None] or drawn[:2]
    around = lambda low, high: span(low, high) if forward else span(1 / high, 1 / low)
    pairs = " and ".join(f"{around(c.paired.low, c.paired.high)} ({c.how})" for c in chosen)
    apart = " and ".join(f"{around(c.paired.unpaired_low, c.paired.unpaired_high)} ({c.how})" for c in chosen)
    more = min(
        np.log(c.paired.unpaired_high / c.paired.unpaired_low) / np.log(c.paired.high / c.paired.low) for c in chosen
    )
    cause = ", mostly because of the boards" if more > MOSTLY else ""
    return [
        f"Built both ways from the same boards, nine pairs of boxes in ten differ by {pairs} (the doubt '{WOOD}'); two guitars built "
        f"each one way from boards of their own differ by {apart}{cause}."
    ]
