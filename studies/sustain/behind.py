"""What stands behind the answer of the sustain study, in one paragraph: counts of notes, the price, heat, unexplained loss, boards."""

import numpy as np

from fem.body_modes import STRING
from meshes.unexplained_loss import LARGEST
from studies.common.mesh_error import LIMIT
from studies.common.words import capital, change, joints_would_need, percent, several, span
from studies.sustain.answer import ENOUGH, SOLID, solid_linings, whole_and_notes
from studies.sustain.result import UNEXPLAINED, WOOD, Study
from studies.sustain.thresholds import LATE, MEASURES
from studies.sustain.verdict import verdict_of

MODEL = "The error of the model itself is not known and in none of these ranges."


def behind(study: Study) -> str:
    """What stands behind the answer, in one paragraph."""
    solid = solid_linings(study)
    notes = [_counts(solid)] if solid.compared else []
    return " ".join(
        [
            *notes,
            *_others(study, solid),
            *_price(study),
            *_dissipated(study),
            *_unexplained(study),
            *_wood(solid, study.draws),
            MODEL,
        ]
    )


def _counts(solid):
    """How many notes change, do not, or are open."""
    told = []
    for m in MEASURES:
        each = [
            f"{percent(n.share(-1, 1), 0)} / {percent(n.share(0), 0)} / {percent(n.open, 0)} {how}"
            for how, n in _notes_of(solid, m)
        ]
        told.append(f"{m.name} {several(each)}")
    return (
        f"Sustain here is the late decay, the time to fall by 60 dB. Notes that change beyond the threshold of hearing / do not / are "
        f"open by their doubts: {'; '.join(told)}."
    )


def _notes_of(solid, measure):
    return [(how, c.notes[measure.key]) for how, c in solid.compared.items()]


def _others(study, solid):
    """The other builds that can be made, by their words."""
    said: dict[tuple[str, str], list[str]] = {}
    for b in study.builds[1:]:
        if b.name not in (solid.name, LIMIT) and study.beside(b.name):
            found = verdict_of(study, b.name)
            said.setdefault((found.whole, found.notes), []).append(b.label)
    return [f"{capital(several(labels))}: {whole_and_notes(whole, notes)}." for (whole, notes), labels in said.items()]


def _price(study):
    """Drying stress and grams of solid linings beside the claim."""
    other = next((b for name in (SOLID, "kerfed") for b in study.builds if b.name == name), None)
    if other is None:
        return []
    own, dry = (study.dry.builds[name].top / 1e6 for name in ("sheet", other.name))
    grams = study.rim_g[other.name] - study.rim_g["sheet"]
    pulled = f"{dry:.1f} MPa" + (
        f" instead of {own:.1f} MPa" if f"{dry:.1f}" != f"{own:.1f}" else ", as by the sheet's own"
    )
    return [
        f"The price: {other.label} weigh {abs(grams):.0f} g {'more' if grams >= 0 else 'less'}, and at {study.dry.used:g} % "
        f"humidity the top is pulled across the grain near the linings with {pulled}."
    ]


def _dissipated(study):
    """What the rim turns to heat, and what notes would last without that."""
    own = study.own
    rim = several(f"{percent(p.rim)} ({how})" for how, p in own.items())
    ends = several(f"{span(study.no_rim_low[how], study.no_rim_high[how])} {how}" for how in own)
    string = np.mean([p.share[STRING] for p in own.values()])
    loss = ", whose losses are a range: trust the ratios more than the seconds" if study.strings.loss_uncertain else ""
    return [
        f"Of a pluck's energy {rim} turns to heat in the rim as the sheet builds it; without any the median note would last longer by {ends} "
        "over the range of the rim's losses.",
        f"{percent(string, 0)} turns to heat in the strings themselves{loss}.",
    ]


def _unexplained(study):
    """What measured guitars lose beyond the parts that are computed, and what that would do to the notes."""
    places = list(next(iter(study.unexplained.values())))
    told = [several(f"{change(ratios[place])} {how}" for how, ratios in study.unexplained.items()) for place in places]
    return [
        f"Published guitars lose up to {LARGEST:g} of loss factor more in their first resonances than the example guitars as computed; how "
        f"much of it in their holders is not known. Were it in the guitar, alike in every build, the median note on the sheet's own rim would last "
        f"{'; '.join(f'{t} ({place})' for place, t in zip(places, told))} ({joints_would_need(study.unexplained_in_joints)}; "
        f"the rim as given has {study.rim_loss_factor:.2g}): the doubt '{UNEXPLAINED}' spans all "
        "three and none."
    ]


def _wood(solid, draws):
    """What other boards of the same woods do: to a pair from the same boards, and to two guitars from different ones."""
    chosen = [(how, c.paired[LATE.key]) for how, c in solid.compared.items() if c.paired]
    if not chosen:
        return ["How much two boxes of one plan differ by their boards was not computed (wood scatter)."]
    pairs = several(f"{span(*solid.turned(p.low, p.high))} ({how})" for how, p in chosen)
    apart = several(f"{span(*solid.turned(p.unpaired_low, p.unpaired_high))} ({how})" for how, p in chosen)
    return [
        f"Built both ways from the same boards, nine pairs of boxes in ten differ in {LATE.name} by {pairs} (the doubt '{WOOD}'); two guitars "
        f"built each one way from boards of their own differ by {apart}.",
        *([f"These are {draws} draws of the boards, too few for more than a rough idea."] if draws < ENOUGH else []),
    ]
