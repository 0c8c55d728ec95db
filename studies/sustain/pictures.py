"""Fretboard maps of a study: on scales that builds have in common, with captions for print and words for who cannot see them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from fem.fretboard import Fretboard
from studies.common.groups import IN_RIM
from studies.common.mesh_error import LIMIT
from studies.common.note_names import short_name
from studies.common.words import percent
from studies.drawing.sheet import save_with_caption
from studies.sustain.maps import DECAY, DISSIPATED, RATIO, Board, Ends, Measure, board_of, map_figure, scale_ends
from studies.sustain.result import MESH, Played, Study
from studies.sustain.shares import by_group
from studies.sustain.thresholds import LATE


@dataclass(frozen=True)
class Map:
    """One build, held one way, coloured by one measure."""

    played: Played
    board: Board
    values: np.ndarray  # (strings, frets + 1)
    measure: Measure
    ends: Ends  # of the scale

    def figure(self, heading: str) -> Figure:
        """Under a heading."""
        return map_figure(self.board, self.values, self.measure, heading, self.ends)


def maps_of(study: Study, names: Sequence[str]) -> list[Map]:
    """Decay and heat of the sheet's own build, then ratios of builds `names`, held each way; one scale for each measure."""
    rows = []
    for how in study.holdings:
        own = study.own[how]
        rows += [(own, own.board.decay_time, DECAY), (own, rim_percent(own.board), DISSIPATED)]
        rows += [(study.played[n, how], np.exp(study.compared[n, how].notes[LATE.key].change), RATIO) for n in names]
    real = [(values, measure) for played, values, measure in rows if played.build.name != LIMIT]
    ends = {of: scale_ends(of, *(values for values, m in real if m is of)) for of in (DECAY, DISSIPATED, RATIO)}
    board = lambda played: board_of(study.strings.strings, played.board, played.wolves)
    return [Map(played, board(played), values, measure, ends[measure]) for played, values, measure in rows]


def draw_maps(
    study: Study, folder: Path, say: Callable[[str], None] = lambda text: None
) -> dict[str, list[tuple[Path, str]]]:
    """{how: [(PNG path, alt words)]}: the sheet's own decay and heat, then each build's ratio, all on common scales."""
    drawn: dict[str, list[tuple[Path, str]]] = {how: [] for how in study.holdings}
    for m in maps_of(study, [b.name for b in study.builds[1:]]):
        build, how = m.played.build, m.played.how
        say(f"fretboard, {build.label}, {how}")
        heading = f"{study.body.name}, {build.label}; {how}"
        stem = folder / f"{m.measure.name}-{build.name}-{how.replace(' ', '-')}"
        path = save_with_caption(m.figure(heading), stem, caption(study, m), (".png", ".pdf", ".svg"))[0]
        drawn[how].append((path, extremes(m, heading)))
    return drawn


def rim_percent(board: Fretboard) -> np.ndarray:
    """(strings, frets + 1) per cent of each pluck's energy turned to heat in the rim."""
    share = by_group(board)
    return 100 * np.sum([share[g] for g in IN_RIM], axis=0)


def caption(study: Study, m: Map) -> str:
    """For print, beside the picture."""
    how = m.played.how
    own = next(c for c in study.compared.values() if c.how == how).judged[LATE.key]
    low, high = own.doubts[MESH]
    return (
        f"{study.body.name}, {m.played.build.label}. {m.measure.title}, {m.measure.unit}, of every string at every fret. Computed: "
        f"strings, body, air inside and outside solved together; {how}; {study.strings.title}. Notes above {study.highest_valid:.0f} Hz "
        f"are not answered for. Mesh {1e3 * study.sizes[0]:.0f} mm; its error in a median ratio is about "
        f"{percent((high - low) / own.ratio / 2)}, the model error is not known. Nut on the left, highest string on top. Computed with "
        "Rimwork."
    )


def extremes(m: Map, heading: str) -> str:
    """Alt words: from the least to the most, and where."""
    board, title = m.board, f"Fretboard map, {heading}: {m.measure.title}"
    shown = np.where(board.valid & np.isfinite(m.values), m.values, np.nan)
    if not np.isfinite(shown).any():
        return f"{title}; no note is answered for."

    def told(place):
        string, fret = place
        at = f" at fret {fret}" if fret else " open"
        note = f"{short_name(board.frequency[place])} on string {board.names[string]}{at}"
        return f"{shown[place]:.3g} {m.measure.unit} ({note})"

    least, most = (told(np.unravel_index(f(shown), shown.shape)) for f in (np.nanargmin, np.nanargmax))
    return f"{title}, from {least} to {most}."
