"""What stands behind the figures of the one-file page: error bars, assumptions, sources, provenance."""

from meshes.describe import wood_notes, woods_used
from meshes.joints import joint_of
from studies.common import cautions
from studies.common.table import Table
from studies.page.sections import Section


def doubts(air, lines=(), drawings=(), after=()):
    """Section: error bars, each by itself. lines, drawings, after: those of further studies."""
    sizes = f"{1e3 * air.fine.size:g} and {1e3 * air.coarse.size:g} mm"
    return Section(
        "doubts", "How sure is this: separate error bars", "error bars",
        texts=(
            "They are kept apart, since each asks for another remedy.",
            f"- Mesh: the ± in the tables; twice the difference of two mesh sizes ({sizes}), for an error that falls with the first power of "
            "the size. A finer mesh lessens it.",
            *lines,
            "- Model: not known. No measurement of the losses in a rim was found to set it by.",
        ),
        drawings=drawings, after=after,
    )  # fmt: skip


def assumptions(body, not_modelled):
    """Sections: assumptions, estimates, warnings, what is left out, cautions."""
    assumed = {(breaking(a.key), breaking(str(a.value)), a.source) for a in body.assumed}
    rows = tuple(sorted(assumed)) or (("nothing beyond the sheet", "", ""),)
    joints = tuple(f"- {plate}: {joint_of(body, plate).words}" for plate in ("top", "back"))
    more = [
        ("How the joints are modelled", joints),
        ("Estimated in the woods", tuple(f"- {plain(n)}" for n in wood_notes(body))),
    ]
    more += [
        ("Warnings", tuple(f"- {w}" for w in body.warnings)),
        ("Not modelled", tuple(f"- {n}" for n in not_modelled)),
    ]
    more += [("Cautions", tuple(f"- {c}" for c in cautions.RIM))]
    table = Table("", ("key", "value", "source"), rows)
    return [
        Section("assumed", "What is assumed", "assumptions", tables=(table,), in_words=True),
        *(Section(h.lower().replace(" ", "-"), h, texts=lines) for h, lines in more if lines),
    ]


def plain(note):
    """'sitka_spruce: estimated E_R' -> 'sitka spruce: estimated E_R'."""
    name, colon, rest = note.partition(":")
    return name.replace("_", " ") + colon + rest


def breaking(key):
    """A key that may be broken after its signs, where the page is narrow."""
    return key.replace("_", "_\u200b").replace(".", ".\u200b") if " " not in key else key


METHODS = (  # of the figures on the page
    ("strain energy and loss factor of a mode", "Ungar & Kerwin, J. Acoust. Soc. Am. 34:954 (1962)"),
    ("mesh error from two mesh sizes", "Roache, J. Fluids Eng. 116:405 (1994)"),
    ("modes by block Lanczos", "Grimes, Lewis & Simon, SIAM J. Matrix Anal. Appl. 15:228 (1994)"),
    ("losses of the air at the walls and in the opening", "Pierce, Acoustics (1981)"),
    ("flesh under chest, thigh and arm", "Johnson, Contact Mechanics (1985)"),
)


def sources(body, more=()):
    """Section: published sources of methods and woods. more: further (what, source) pairs."""
    woods = {}
    for name, wood in woods_used(body).items():
        for constant, source in wood.sources.items():
            woods.setdefault((name, source), []).append(constant)
    rows = [(what, source) for what, source in (*METHODS, *more)]
    rows += [
        (plain(f"{name}: {', '.join(dict.fromkeys(keys))}"), source) for (name, source), keys in sorted(woods.items())
    ]
    return Section(
        "sources", "Sources", "sources", tables=(Table("", ("what", "source"), tuple(rows)),), in_words=True,
        after=("Theory, symbols and every check against published values stand in the documentation that comes with the program.",),
    )  # fmt: skip


def provenance(told):
    """Section of {what: value}."""
    words = lambda v: " and ".join(f"{x:g}" for x in v) if isinstance(v, list | tuple) else str(v)
    rows = tuple((key.replace("_", " "), words(value)) for key, value in told.items())
    return Section(
        "provenance", "Provenance", "provenance", tables=(Table("", ("what", "value"), rows),), in_words=True
    )
