"""The answer of the sustain study: a few sentences for the maker, and a second paragraph of what stands behind them."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fem.body_modes import STRING
from meshes.unexplained_loss import LARGEST
from studies.common.two_meshes import LIMIT
from studies.common.words import capital, change, percent, percent_change, quoted, several, span
from studies.sustain.hearing import CANNOT_TELL, NO_DIFFERENCE, TOLERANCES
from studies.sustain.result import SUPPORT_CONDITIONS, UNEXPLAINED, WOOD, Compared, Judged, Study

SOLID = "solid_laminated"
QUESTION = "Do solid linings lengthen sustain?"
MODEL = "The error of the model itself is not known and in none of these ranges."
MOSTLY = 2.0  # times the range of pairs from which on the boards make most of what two guitars differ by


def answer(study: Study) -> str:
    """The answer to QUESTION in a few sentences: heard or not, how much, why, which other build, and the price."""
    solid = solid_linings(study)
    if not solid.compared:
        return f"{QUESTION} Cannot tell: this run left those builds out."
    return " ".join([*_lead(solid), *_reason(solid), *_others(study), *_price(study)])


def behind(study: Study) -> str:
    """What stands behind the answer, in one paragraph."""
    solid = solid_linings(study)
    single = [*_single_notes(study, solid), *_measures(solid)] if solid.compared else []
    return " ".join([*single, *_dissipated(study), *_unexplained(study), *_wood(study), MODEL])


@dataclass(frozen=True)
class SolidLinings:
    """The comparison that answers QUESTION: solid linings beside the sheet's own rim, or kerfed ones if that has solid ones."""

    name: str  # of the build that is compared with the sheet's own
    compared: dict[str, Compared]  # by how it is held; empty if the run left the build out

    def ratio(self, c: Judged) -> float:
        """Of solid linings over the others."""
        return c.ratio if self.name == SOLID else 1 / c.ratio

    def span(self, low: float, high: float) -> str:
        """Words on a range of ratios, solid linings over the others."""
        return span(low, high) if self.name == SOLID else span(1 / high, 1 / low)

    def each(self, told: Callable[[Compared], str], joint: str = " and ") -> str:
        """The words told of either way to hold the guitar, joined."""
        return joint.join(told(c) for c in self.compared.values())


def solid_linings(study: Study) -> SolidLinings:
    """SolidLinings of a Study."""
    name = SOLID if any(name == SOLID for name, _ in study.compared) else "kerfed"
    return SolidLinings(
        name, {how: study.compared[name, how] for how in SUPPORT_CONDITIONS if (name, how) in study.compared}
    )


# --- the answer ---


def _lead(solid):
    words = {how: c.verdict.word for how, c in solid.compared.items()}
    if len(set(words.values())) == 1:
        lead = _plain(next(iter(words.values())), [solid.ratio(c) for c in solid.compared.values()])
    else:
        lead = f"It depends on how the guitar is held: {'; '.join(f'{how}, {w}' for how, w in words.items())}."
    other = "against the sheet's own rim" if solid.name == SOLID else "(the sheet's own) against kerfed ones"
    parts = solid.each(
        lambda c: f"{change(solid.ratio(c))} {c.how} ({solid.span(c.low, c.high)} with every doubt computed)"
    )
    return [f"{QUESTION} {lead}", f"With solid linings {other} the median note lasts {parts}."]


def _plain(word, ratios):
    """The answer in a few words, from one verdict for both ways to hold the guitar."""
    if word == NO_DIFFERENCE:
        return "No audible difference over the whole fretboard of this guitar, whichever way it is held."
    if word == CANNOT_TELL:
        return "Cannot tell for this guitar."
    if min(ratios) > 1:
        return "Yes, audibly, on this guitar."
    return "No: they shorten it audibly on this guitar." if max(ratios) < 1 else "An audible difference, either way."


def _reason(solid):
    """Why the notes change, where anybody may hear it; what keeps the verdict open."""
    cases = solid.compared.values()
    sentences = [f"{capital(c.why)} ({c.how})." for c in cases if c.why and c.verdict.word != NO_DIFFERENCE]
    return sentences + ([_why_not(solid)] if any(c.verdict.word == CANNOT_TELL for c in cases) else [])


def _why_not(solid):
    """Sentence on what keeps the verdict open: the tolerances disagree, or the uncertainty is too large."""
    cases = solid.compared.values()
    uncertain = dict.fromkeys(name for c in cases for name in c.decisive)
    open_ = {name for c in cases for name, word in c.verdict.by_tolerance.items() if word == CANNOT_TELL}
    if len(open_) < len(TOLERANCES):
        words = lambda c: ", ".join(f"{word} by {quoted(name)}" for name, word in c.verdict.by_tolerance.items())
        text = "The published tolerances of hearing disagree on such a difference: "
        text += solid.each(lambda c: f"{c.how}, {words(c)}", "; ")
    else:
        text = "By every published tolerance of hearing the range reaches from inaudible to audible"
    return text + (f"; what would settle it first: {', '.join(uncertain)}." if uncertain else ".")


def _others(study):
    """Sentence on the other builds that can be made: which of them could be heard."""
    asked = solid_linings(study).name
    rows = [
        [study.compared[b.name, how] for how in SUPPORT_CONDITIONS]
        for b in study.builds[1:]
        if b.name not in (asked, LIMIT)
    ]
    if not rows:
        return []
    quiet = lambda pair: all(c.verdict.word == NO_DIFFERENCE for c in pair)
    words = lambda pair: "; ".join(f"{c.verdict.word} {c.how} ({percent_change(c.ratio)})" for c in pair)
    heard = [f"{pair[0].build.label}, {words(pair)}" for pair in rows if not quiet(pair)]
    labels = [pair[0].build.label for pair in rows if quiet(pair)]
    if not heard:
        ratios = [c.ratio for pair in rows for c in pair]
        return [f"No audible difference with {several(labels)} either ({span(min(ratios), max(ratios))})."]
    rest = [f"with {several(labels)} no audible difference"] if labels else []
    return [f"Other builds: {'; '.join(heard + rest)}."]


def _price(study):
    """Drying stress and grams of solid linings beside the claim."""
    other = next((b for name in (SOLID, "kerfed") for b in study.builds if b.name == name), None)
    if other is None:
        return []
    own, dry = (study.dry.builds[name].top / 1e6 for name in ("sheet", other.name))
    grams = study.rim_g[other.name] - study.rim_g["sheet"]
    return [
        f"The price: {other.label} weigh {abs(grams):.0f} g {'more' if grams >= 0 else 'less'}, and at {study.dry.used:g} % "
        f"humidity the top is pulled across the grain near the linings with {dry:.1f} MPa instead of {own:.1f} MPa."
    ]


# --- behind it ---


def _single_notes(study, solid):
    """Sentence on the notes that change more than the median does, either way, and what the mesh alone does to them."""
    told = []
    for t in TOLERANCES:
        shares = solid.each(lambda c, t=t: f"{percent(c.audible[t.name], 0)} ({c.how})")
        mesh = solid.each(lambda c, t=t: percent(study.mesh_by_note[c.how][t.name], 0))
        told.append(f"{shares} of them leave {span(t.low, t.high, 0)} ({t.name}; by the mesh alone {mesh})")
    return [
        f"Single notes change more, some longer, some shorter, as resonances move past them: {'; '.join(told)}. Which notes "
        "these will be on your guitar is not predicted."
    ]


def _measures(solid):
    """Sentences where the beginning of the notes, or their sound alone, is judged by another word than the whole decay."""
    told = []
    for what, key in (("beginning of the notes (the first 10 dB)", "early"), ("sound still to come", "sound")):
        pairs = [(c, getattr(c, key)) for c in solid.compared.values()]
        words = lambda c, j: f"{c.how}, {change(solid.ratio(j))}, {j.verdict.word}"
        if other := [words(c, j) for c, j in pairs if j.verdict.word != c.verdict.word]:
            told.append(f"By the {what} alone the word would be another: {'; '.join(other)}.")
    return told or ["The beginning of the notes and the decay of their sound, judged alone, give the same word."]


def _dissipated(study):
    """What the rim turns to heat, and what notes would last without that."""
    own = study.own
    rim = " and ".join(f"{percent(p.rim)} ({how})" for how, p in own.items())
    ends = {how: span(study.no_rim_low[how], study.no_rim_high[how]) for how in own}
    gain = " and ".join(
        f"{change(p.median.no_rim_loss)} ({how}; {ends[how]} over the range of the rim's losses)"
        for how, p in own.items()
    )
    string = np.mean([p.share[STRING] for p in own.values()])
    loss = ", whose losses are a range: trust the ratios more than the seconds" if study.strings.loss_uncertain else ""
    return [
        f"Of a pluck's energy {rim} turns to heat in the rim as the sheet builds it; a rim without any loss would let the "
        f"median note last {gain}.",
        f"{percent(string, 0)} turns to heat in the strings themselves{loss}.",
    ]


def _unexplained(study):
    """What measured guitars lose beyond the parts that are computed, and what that would do to the notes."""
    places = list(next(iter(study.unexplained.values())))
    told = [
        " and ".join(f"{change(ratios[place])} {how}" for how, ratios in study.unexplained.items()) for place in places
    ]
    return [
        f"Published guitars lose up to {LARGEST:g} of loss factor more in their first resonances than the example guitars as computed; how "
        f"much of it in their holders is not known. Were it in the guitar, alike in every build, the median note on the sheet's own rim would last, "
        f"{'; '.join(f'{place}, {t}' for place, t in zip(places, told))} (joints and linings would then have a loss factor of "
        f"{study.unexplained_in_joints:.2g}, the rim as given has {study.rim_loss_factor:.2g}): the doubt '{UNEXPLAINED}' spans all "
        "three and none."
    ]


def _wood(study):
    """What other boards of the same woods do: to a pair from the same boards, and to two guitars from different ones."""
    drawn = [c for c in study.compared.values() if c.paired is not None and c.build.name != LIMIT]
    if not drawn:
        return ["How much two boxes of one plan differ by their boards was not computed (wood scatter)."]
    solid = solid_linings(study)
    chosen = [c for c in solid.compared.values() if c.paired is not None] or drawn[:2]
    pairs = " and ".join(f"{solid.span(c.paired.low, c.paired.high)} ({c.how})" for c in chosen)
    apart = " and ".join(f"{solid.span(c.paired.unpaired_low, c.paired.unpaired_high)} ({c.how})" for c in chosen)
    wider = [np.log(p.unpaired_high / p.unpaired_low) / np.log(p.high / p.low) for p in (c.paired for c in chosen)]
    cause = ", mostly because of the boards" if min(wider) > MOSTLY else ""
    return [
        f"Built both ways from the same boards, nine pairs of boxes in ten differ by {pairs} (the doubt '{WOOD}'); two guitars built "
        f"each one way from boards of their own differ by {apart}{cause}."
    ]
