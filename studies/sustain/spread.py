"""Chart of the sustain page: every note of every build by how it changes, over the doubts about single notes."""

from collections.abc import Sequence

import numpy as np

from studies.drawing import svg
from studies.drawing.scales import Axis
from studies.drawing.svg import INK, PAPER, Letters, Pen
from studies.sustain.charts import EDGE, SHADE, STYLE, WIDTH, foot
from studies.sustain.doubts import in_squares
from studies.sustain.result import MESH, WOOD, Compared, SingleNotes
from studies.sustain.thresholds import LIMITS, Measure

STRING, HEAD = 8.0, 32.0  # height of a string's line; of a lane's name
STRONG, WEAK = "#053e90", "#8d8a83"  # beyond the threshold, and not
BANDS = {"mesh": "#c9d4e8", "boards": "#e8d3b8", "losses and pluck": "#cfe0c3"}  # doubts behind the notes
INSIDE = 98.0  # per cent of the notes that the chart holds; the others stand at its edge


def doubt_bands(notes: SingleNotes) -> dict[str, float]:
    """{band: half width}: what the doubts of a kind leave of the median note; none that was not computed."""
    kinds: dict[str, tuple[str, ...]] = {"mesh": (MESH,), "boards": (WOOD,)}
    kinds["losses and pluck"] = tuple(name for name in notes.doubts if name not in (MESH, WOOD))
    return {
        band: float(np.nanmedian(np.broadcast_to(in_squares(found), notes.change.shape)[notes.known]))
        for band, names in kinds.items()
        if (found := {name: notes.doubts[name] for name in names if name in notes.doubts}) and notes.known.any()
    }


def spread_svg(compared: Sequence[Compared], measure: Measure, how: str) -> str:
    """SVG text: a lane for each build, a mark for each note; lowest string at the foot of a lane.

    Filled: its whole bar beyond the threshold; ring: open; dot: within.
    """
    rows = [(c, c.notes[measure.key]) for c in compared]
    across, strings = _axis(measure, [n for _, n in rows]), rows[0][1].change.shape[0]
    block = HEAD + STRING * strings + 10
    tall = block * len(rows)
    x0, x1 = (float(across.at(np.log(v))) for v in LIMITS[measure.key])
    parts = [svg.box(x0, 4, x1 - x0, tall, SHADE)]
    for k, (c, n) in enumerate(rows):
        parts += _lane(c, n, across, k * block + 4)
    parts += [
        svg.line(x, 4, x, tall + 4, Pen(dashes="4 3" if x != across.at(0) else ""))
        for x in (x0, float(across.at(0)), x1)
    ]
    parts += foot(across, measure, tall + 4)
    parts += svg.key(_signs(), EDGE, tall + 70, 16, 20, 3, WIDTH / 3, 12)
    told = "; ".join(
        f"{c.build.label}: {100 * n.share(-1, 1):.0f} % of the notes beyond the threshold, {100 * n.share(0):.0f} % within, {100 * n.open:.0f} % open"
        for c, n in rows
    )
    return svg.drawing(parts, f"Change of every note, {measure.words}, {how}", f"{told}.", WIDTH, tall + 112, 14, STYLE)


def _lane(c, n, across, y):
    """One build: its name, bands of the doubts about no change, and its notes."""
    strings = n.change.shape[0]
    parts = [svg.writing(EDGE, y + 16, c.build.label, Letters(bold=True, halo=True))]
    for band, half in sorted(doubt_bands(n).items(), key=lambda item: -item[1]):  # the widest behind
        x0, x1 = across.at(np.clip([-half, half], across.low, across.high))
        parts.append(svg.box(x0, y + HEAD - STRING, x1 - x0, STRING * (strings + 1), BANDS[band]))
    for place in zip(*np.nonzero(n.known)):
        x = float(across.at(np.clip(n.change[place], across.low, across.high)))
        parts.append(_mark(x, y + HEAD + STRING * (strings - 1 - place[0]), float(n.side[place])))
    return parts


def _mark(x, y, side):
    if np.isnan(side):
        return svg.dot(x, y, 2.6, PAPER, Pen(INK, 0.8))
    return svg.dot(x, y, 3.0, STRONG) if side else svg.dot(x, y, 1.8, WEAK)


def _signs():
    marks = [
        (_mark(5, 0, side), words)
        for side, words in ((1.0, "beyond the threshold"), (float("nan"), "open"), (0.0, "within"))
    ]
    return marks + [(svg.box(-2, -6, 14, 9, ink), f"doubt: {band}") for band, ink in BANDS.items()]


def _axis(measure, notes):
    known = np.concatenate([n.change[n.known] for n in notes])
    low, high = np.log(LIMITS[measure.key])
    far = np.percentile(np.abs(known), INSIDE) if known.size else 0.0
    return Axis(min(1.3 * low, -far), max(1.3 * high, far), 24.0, WIDTH - 24)
