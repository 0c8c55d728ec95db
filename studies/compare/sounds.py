"""The same notes and phrase of the first sheet and of another, plain and blind, with the parts that `rimwork listen` writes its own by."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from fem.strings import Pluck
from meshes.sheet_strings import Strung, strung
from meshes.supports import LAP
from studies.common.builds import builds, complete_linings
from studies.common.inputs import Given
from studies.notes.listen import NOTES, Heard, Setting, Signals, place_of, ready, sounds, write_items


def write_sheets_sounds(given: Sequence[Given], size: float, store: Path, out: Path) -> str:
    """Write the sounds of the first sheet beside each other one, on the lap, into out/NAME; returns what was written as text."""
    heard, played = [], []
    for one in given:
        body, _ = complete_linings(one.body)
        build = replace(builds(body)[0], name=one.source.path.stem)
        own = strung(body, None)
        setting = Setting(LAP, place_of(body))
        heard += ready(body, [build], setting, size, store, len(own.strings.strings))
        played.append(own)
    told = []
    for k in range(1, len(given)):
        both = (heard[0], heard[k])
        signals, left_out = sounds_of_both(both, (played[0], played[k]))
        setting, pluck = Setting(LAP, place_of(both[0].build.body)), played[0].pluck
        told.append(write_items(out / both[1].build.name, both, signals, left_out, setting, pluck))
    return "\n\n".join(told)


def sounds_of_both(
    heard: Sequence[Heard], played: Sequence[Strung], wanted: Sequence[tuple[int, int]] = NOTES
) -> tuple[Signals, list[str]]:
    """(Signals, [names left out]) of two guitars, each with its own strings and pluck, up to the frequency that both answer for.

    Items have the names of the first one's strings.
    """
    top = min(h.valid_to for h in heard)
    found = []
    for h, own in zip(heard, played):
        pluck: Pluck = own.pluck
        names = [s.name for s in played[0].strings.strings]  # items are named by the first one's
        strings = [replace(s, name=name) for s, name in zip(own.strings.strings, names)]
        found.append(sounds([replace(h, valid_to=top)], strings, pluck, wanted))
    (mine, missing), (its, lacking) = found
    both = {item: mine[item] | its[item] for item in mine if item in its}
    return both, list(dict.fromkeys([*missing, *lacking]))
