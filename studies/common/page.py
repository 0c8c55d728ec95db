"""What the pages of the rim study share: templates, tables, provenance, cautions, how figures are written."""

import csv
import platform
import sys
from datetime import date
from importlib.metadata import version
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, select_autoescape

from studies.common.machine import rimwork_version
from studies.common.measured import shown
from studies.common.two_meshes import COARSER

CAUTIONS = (
    "The figures say nothing of strength. String tension loads every joint of an instrument for decades: judge strength "
    "and safety by experience and trials, not by this page.",
    "Bending irons, saws, wood dust and glues harm: guard, mask and air the room as their makers say, and follow local "
    "rules; where the law asks for licensed practice, it comes first.",
)
PROVENANCE = ("numpy", "scipy", "scikit-fem", "gmsh")


def write_table(path, rows):
    """Write dicts of the same keys as CSV."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def write_page(path, template, **what):
    """Fill a template of the rim's pages."""
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parents[1]), autoescape=select_autoescape(["html", "j2"])
    )
    environment.filters |= {"percent": percent, "hertz": hertz, "shown": shown, "decibel": decibel}
    environment.tests["unsure"] = unsure
    path.write_text(environment.get_template(template).render(**what), encoding="utf-8")


def drawn_or_told(draw):
    """Calls draw(); '' or, where that fails, a sentence on it, which goes to standard error as well: figures come first."""
    try:
        draw()
    except Exception as fault:  # whatever it is, it must not cost the answer
        words = (
            f"Not all pictures could be drawn ({type(fault).__name__}: {fault}). Figures and tables do not depend on them. "
            "This is a fault of the program; please report it."
        )
        print(f"\nrimwork: {words}", file=sys.stderr)
        return words
    return ""


def unsure(value, error):
    """Whether a figure says nothing: its mesh error is larger than the figure itself."""
    return value is not None and error is not None and error > abs(value)


def provenance(study):
    """{what: value} that lets somebody compute the same again."""
    return {
        "rimwork": rimwork_version(),
        "sheet": Path(study.sheet).name,
        "sheet_sha256": study.sheet_hash,
        "date": date.today().isoformat(),
        "python": platform.python_version(),
        **{name: version(name) for name in PROVENANCE},
        "element": "cubic triangle (P3), flat facets, full integration",
        "mesh_size_mm": [1e3 * study.size, 1e3 * study.size * COARSER],
        "unknowns": study.unknowns,
    }


# --- figures in words ---


def band(value, error):
    """'12.3 ± 0.4 %'."""
    return "not known" if value is None else f"{100 * value:.1f} ± {max(100 * error, 0.1):.1f} %"


def longer(gain):
    return "not known" if gain is None else f"rings {100 * gain:.0f} % longer"


def percent(value, digits=1):
    if value is not None and 0 < value < 0.5 * 10 ** (-2 - digits):
        return f"< {10.0**-digits:g} %"
    return "–" if value is None else f"{100 * value:.{digits}f} %"


def hertz(value):
    return "–" if value is None else f"{value:.1f}"


def decibel(value, sign="+"):
    """'+0.3 dB'; a level that rounds to nothing has no sign."""
    if value is None:
        return "–"
    return f"{value:{sign}.1f} dB" if abs(value) >= 0.05 else "< 0.1 dB"
