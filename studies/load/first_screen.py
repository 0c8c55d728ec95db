"""What the load page says first: how far the box moves under its strings, and whether a gauge could read what another rim changes."""

from studies.common.first_screen import Bar, FirstScreen, Lane, lane_label
from studies.common.mesh_error import change_error, rim_grams
from studies.common.words import several, signed
from studies.drawing.builds_chart import Scale, builds_svg
from studies.load.readings import CREEP, MEASURES
from studies.load.result import Load
from studies.load.words import scaled

READ = {"action_rise_mm": ("action", 0.05, "mm", 3), "bridge_rotation_deg": ("bridge lean", 0.1, "°", 3)}
# {key of MEASURES: (name, what a gauge reads: the thinnest common feeler gauge, an angle gauge's last digit; from memory, unit, digits)}
WITHIN, BEYOND, OPEN = "too little to read", "enough to read", "perhaps enough to read (cannot tell)"
SCALE = Scale((-1.0, 1.0), ((-1.0, "less"), (0.0, "0"), (1.0, "more")))


def strings_screen(study: Load) -> FirstScreen:
    """FirstScreen of the page; bars in what a gauge reads."""
    lanes = change_lanes(study)
    gauges = " or ".join(f"{least:g}{unit if unit == '°' else f' {unit}'}" for _, least, unit, _ in READ.values())
    chart = builds_svg(
        lanes,
        SCALE,
        "What another rim changes when the strings are tuned up",
        f"bars: mesh error; dashed: a gauge reads {gauges}",
    )
    own = Lane(study.rows[0].build.label, (), rim_grams(study.rows[0]))
    return FirstScreen(_verdict(study, lanes), lanes, chart, _bench(study), _doubt(study), own)


def change_lanes(study: Load) -> tuple[Lane, ...]:
    """A Lane of every other build, a bar for each of READ."""
    own, lanes = study.rows[0], []
    for row in study.real:
        bars = tuple(_bar(study, row, key) for key in READ)
        more = rim_grams(row) - rim_grams(own)
        lanes.append(Lane(lane_label(row.build, more), bars, rim_grams(row), gauge_word(bars)))
    return tuple(lanes)


def _bar(study, row, key):
    name, least, unit, digits = READ[key]
    own, factor = study.rows[0].measures[key], MEASURES[key][2]
    change = row.measures[key] - own
    error = change_error(study.errors[key], own, change)
    at, off = factor * change, factor * error
    return Bar(
        name, (at / least,), (at - off) / least, (at + off) / least, f"{signed(at, digits)} {unit}", abs(at) > off
    )


def gauge_word(bars: tuple[Bar, ...]) -> str:
    """Whether a gauge could read what a build changes."""
    if any(bar.low > 1 or bar.high < -1 for bar in bars):
        return BEYOND
    return WITHIN if all(bar.low >= -1 and bar.high <= 1 for bar in bars) else OPEN


def _verdict(study: Load, lanes: tuple[Lane, ...]) -> str:
    """How far the sheet's own box moves, then what others change."""
    at = scaled(study.rows[0])
    said: dict[str, list[str]] = {}
    for row, lane in zip(study.real, lanes):
        said.setdefault(lane.word, []).append(row.build.label.partition(" (")[0])
    told = [f"{several(names)} would change that by {found}" for found, names in said.items()]
    if len(said) == 1:
        told = [f"any other rim would change that by {next(iter(said))}"]
    return (
        f"Tuned up, the bridge leans {at['bridge_rotation_deg']:.2f}° and the strings rise {at['action_rise_mm']:.2f} mm over the 12th fret, "
        f"{at['action_rise_block_mm']:.2f} mm of it by the body; {'; '.join(told) if told else 'no other rim was compared'}."
    )


def _bench(study: Load) -> str:
    """What a gauge and a straightedge should show."""
    at = scaled(study.rows[0])
    return (
        "Measure the action at the 12th fret by feeler gauges and the top behind the bridge by a straightedge, first slack, then at pitch: "
        f"the strings should rise by {at['action_rise_mm']:.2f} mm, the top by {at['belly_mm']:.2f} mm."
    )


def _doubt(study: Load) -> str:
    return (
        f"Wood creeps: in years the movement becomes some {CREEP[0]:g} to {CREEP[1]:g} times as large (from memory), and that is not computed. "
        "The bars hold the mesh error alone; the error of the model itself is not known."
    )
