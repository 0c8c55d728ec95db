"""Fields of a box at rest as pictures for print: top and back side by side, one scale with numbers for all panels."""

import numpy as np
from matplotlib.figure import Figure

from studies.drawing.field import Field, sampler
from studies.drawing.plan import (
    BANDS,
    FULL_WIDTH,
    MM_PER_INCH,
    SCALE,
    THEMES,
    draw_plates,
    lettering,
    on_true_curves,
    plate_plan,
    proportion,
    save,
)

GAP, FOOT, TEXT = 5.0, 14.0, 9.0  # mm: between panels, for the scale, for the words under a panel
INSIDE = 0.9999  # of full scale: what lies on its very end would be left white
SUBDIVIDE = {1: 4, 2: 3, 3: 3}  # per columns: small panels need fewer points


class Boards:
    """Top and back of a mesh, ready to be painted with values given at its nodes."""

    def __init__(self, space, body, columns=1, names=("top", "back")):
        self.samplers = {
            name: on_true_curves(sampler(space, space.mesh.surfaces[name].triangles, SUBDIVIDE[columns]), body)
            for name in names
        }
        self.plates = {name: plate_plan(name, s, body) for name, s in self.samplers.items()}

    def fields(self, values, most=np.inf):
        """{plate: Field} of {plate: (nodes,)}, cut off at `most` either way."""
        found = {}
        for name, s in self.samplers.items():
            value = (s.matrix @ values[name]).clip(-most, most)
            found[name] = Field(s.points, s.triangles, value, value[:, None] * s.normal)
        return found


def outward(u):
    """{plate: (nodes,)} mm out of the box of displacements (nodes, 3) [m]."""
    return {"top": 1e3 * u[:, 2], "back": -1e3 * u[:, 2]}


def field_figure(boards, panels, largest, ends, unit, columns=1, marks=True):
    """Figure of panels [(heading, label, {plate: (nodes,)})] on one scale -largest .. largest [unit].

    ends: words for the two ends of the scale; unit: what is drawn, in which unit. marks: + and - at the furthest places.
    """
    theme, width = THEMES["light"], FULL_WIDTH if columns == 1 else 180.0
    rows = -(-len(panels) // columns)
    wide = (width - (columns + 1) * GAP) / columns
    high = wide * proportion(boards.plates)
    height = rows * (high + TEXT + GAP) + GAP + FOOT
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH), facecolor=theme.page)
    for k, (heading, label, values) in enumerate(panels):
        left = GAP + (k % columns) * (wide + GAP)
        bottom = height - (k // columns + 1) * (high + TEXT + GAP) + TEXT
        ax = figure.add_axes((left / width, bottom / height, wide / width, high / height))
        fields = boards.fields(values, INSIDE * largest)
        draw_plates(ax, boards.plates, fields, theme, largest, 1.25 * wide / FULL_WIDTH, marks)
        for words, down, size, color in ((heading, 0.8, 8.0, theme.ink), (label, 4.6, 6.5, theme.quiet)):
            figure.text(
                (left + wide / 2) / width, (bottom - down) / height, words, size=size, color=color,
                family=lettering(), ha="center", va="top",
            )  # fmt: skip
    _scale(figure, theme, height, largest, ends, unit, len(boards.plates) > 1)
    return figure


def _scale(figure, theme, height, largest, ends, unit, pair):
    words = {"size": 6.5, "color": theme.quiet, "family": lettering(), "va": "center"}
    ax = figure.add_axes((0.2, 9.5 / height, 0.6, 3.0 / height))
    ax.imshow(SCALE((np.arange(2 * BANDS) + 0.5) / (2 * BANDS))[None], aspect="auto", extent=(-1, 1, 0, 1))
    ax.plot([0, 0], [0, 1], color="0", lw=1.2)
    ax.set_axis_off()
    for x in (-1, -0.5, 0, 0.5, 1):
        figure.text(0.5 + 0.3 * x, 7.3 / height, f"{x * largest:.2g}", ha="center", **words)
    for x, text in zip((0.18, 0.82), ends):
        figure.text(x, 11 / height, text, ha="right" if x < 0.5 else "left", **words)
    both = (
        " Top as you face it on the left, back as you face it on the right, neck upward." if pair else " Neck upward."
    )
    for y, line in ((4.3, unit + "."), (1.7, "Bold line: zero." + both)):
        figure.text(0.5, y / height, line, ha="center", **words)


def rounded_up(value):
    """The next of 1, 1.5, 2, 3, 4, 5, 6, 8, 10 times a power of ten: a scale that reads well."""
    if not value > 0:
        return 1.0
    power = 10 ** np.floor(np.log10(value))
    return float(power * next(s for s in (1, 1.5, 2, 3, 4, 5, 6, 8, 10) if s * power >= 0.999 * value))


def save_field(figure, stem, caption):
    """Writes PNG and PDF of a figure and its caption beside them; returns the paths."""
    paths = save(figure, stem, (".png", ".pdf"))
    text = paths[0].with_suffix(".txt")
    text.write_text(caption + "\n", encoding="utf-8")
    return [*paths, text]
