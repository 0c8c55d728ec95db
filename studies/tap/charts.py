"""Charts of a stage, as SVG: tones heard over computed modes; the taps' spectrum with what each order of the fit found."""

from studies.drawing import svg
from studies.drawing.scales import Axis
from studies.drawing.svg import INK, QUIET, Letters, Pen
from studies.tap.result import MODE, StageRead

WIDTH, EDGE = 358.0, 34.0  # as wide as a phone shows it
SURE = "#053e90"
STYLE = "width:100%;max-width:30rem;height:auto;display:block"
WIDE = "width:100%;max-width:56rem;height:auto;display:block"


def ticks(read: StageRead) -> list[float]:
    """Frequencies [Hz] below a chart."""
    return [f for f in (20, 50, 100, 200, 300, 400, 500, 600) if read.frequency[0] <= f <= read.frequency[-1]]


def across(read: StageRead, width: float, left: float = EDGE) -> Axis:
    return Axis(float(read.frequency[0]), float(read.frequency[-1]), left, width - 10)


def pairs_svg(read: StageRead) -> str:
    """SVG text: heard above, computed below, a line between partners."""
    at, parts = across(read, WIDTH), []
    top, middle, foot = 22.0, 62.0, 102.0
    for y, words in ((top - 6, "heard"), (foot + 14, "computed" if read.computed else "nothing computed")):
        parts.append(svg.writing(0, y, words, Letters(bold=True, size=10)))
    for h in read.heard:
        x = float(at.at(h.pole.frequency))
        parts.append(svg.line(x, top, x, middle - 14, Pen(SURE, 2) if h.kind == MODE else Pen(QUIET, 1, "2 2")))
        if h.partner is not None:
            parts.append(
                svg.line(x, middle - 14, float(at.at(read.computed[h.partner].frequency)), middle + 14, Pen(SURE, 0.8))
            )
    used = {h.partner for h in read.heard}
    for k, c in enumerate(read.computed):
        x = float(at.at(c.frequency))
        if x <= WIDTH:
            parts.append(svg.line(x, middle + 14, x, foot, Pen(INK, 2) if k in used else Pen(QUIET, 1)))
    for f in ticks(read):
        parts.append(svg.writing(float(at.at(f)), foot + 28, f"{f:g}", Letters("middle", 10)))
    parts.append(
        svg.writing(WIDTH, foot + 42, "Hz; dashed: not sure, hum or the room's; thin: no partner", Letters("end", 10))
    )
    told = "; ".join(f"{h.pole.frequency:.1f} Hz {h.kind}" for h in read.heard)
    return svg.drawing(
        parts, f"Tones heard over computed ones, {read.stage.label}", f"{told}.", WIDTH, foot + 48, 11, STYLE
    )


def stabilisation_svg(read: StageRead) -> str:
    """SVG text: mean spectrum of the taps; above it at every order of the fit its poles, filled where the order before had them."""
    wide, tall, s = 720.0, 300.0, read.stabilisation
    at = across(read, wide, 40.0)
    level, order = Axis(-70.0, 0.0, tall, 20.0), Axis(0.0, float(max(s.order.max(initial=1), 1)) + 1, tall, 20.0)
    course = [(float(at.at(f)), float(level.at(max(db, -70.0)))) for f, db in zip(read.frequency, read.level)]
    parts = [svg.through(course, Pen(QUIET, 1.2))]
    for n, f, stable in zip(s.order, s.frequency, s.stable):
        x, y = float(at.at(f)), float(order.at(float(n)))
        parts.append(
            svg.box(x - 2.5, y - 2.5, 5, 5, SURE if stable else "#ffffff", Pen(SURE if stable else QUIET, 0.8))
        )
    for h in read.modes:
        x = float(at.at(h.pole.frequency))
        parts.append(svg.line(x, 20, x, tall, Pen(INK, 0.6, "4 3")))
    for f in ticks(read):
        parts.append(svg.writing(float(at.at(f)), tall + 16, f"{f:g}", Letters("middle", 11)))
    for n in range(0, int(order.high), 2):
        parts.append(svg.writing(34, float(order.at(n)) + 4, f"{n}", Letters("end", 10)))
    parts.append(svg.writing(wide - 10, tall + 32, "Hz; upward: poles in the fit of a band", Letters("end", 11)))
    told = f"{len(read.modes)} sure tones: " + ", ".join(f"{h.pole.frequency:.1f} Hz" for h in read.modes)
    return svg.drawing(parts, f"Stabilisation, {read.stage.label}", f"{told}.", wide, tall + 40, 12, WIDE)
