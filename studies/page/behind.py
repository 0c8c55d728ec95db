"""What stands behind the figures of the one-file page: error bars, assumptions, sources, provenance."""

from collections.abc import Iterable, Mapping

from meshes.body import Body
from meshes.describe import wood_notes, woods_used
from meshes.joints import joint_of
from studies.common import cautions
from studies.common.files import Plain
from studies.common.mesh_error import MESH_ERROR
from studies.common.table import Table
from studies.page.sections import Drawing, Section
from studies.rim.result import AirStudy

NOTHING = ("nothing beyond the sheet", "", "")
ELSEWHERE = (
    "Theory, symbols and every check against published values stand in the documentation that comes with the program."
)


def doubts(
    air: AirStudy, lines: Iterable[str] = (), after: tuple[str, ...] = (), drawings: tuple[Drawing, ...] = ()
) -> Section:
    """Section: error bars, each by itself. lines, after, drawings: those of further studies."""
    return Section(
        "doubts", "How sure is this: separate error bars", "error bars",
        texts=(
            "They are kept apart, since each asks for another remedy.",
            f"- Mesh: the ± in the tables; {MESH_ERROR}. A finer mesh lessens it.",
            *lines,
            "- Model: not known. No measurement of the losses in a rim was found to set it by.",
        ),
        drawings=drawings, after=after,
    )  # fmt: skip


def assumptions(body: Body, not_modelled: Iterable[str]) -> list[Section]:
    """Sections: assumptions, estimates, warnings, what is left out, cautions."""
    assumed = sorted({(breaking(a.key), breaking(str(a.value)), a.source) for a in body.assumed})
    lists = {
        "How the joints are modelled": [f"{plate}: {joint_of(body, plate).words}" for plate in ("top", "back")],
        "Estimated in the woods": [plain_note(note) for note in wood_notes(body)],
        "Warnings": body.warnings,
        "Not modelled": not_modelled,
        "Cautions": cautions.RIM,
    }
    return [
        _in_words("What is assumed", "assumptions", "assumed", ("key", "value", "source"), assumed or [NOTHING]),
        *(
            Section(heading.lower().replace(" ", "-"), heading, texts=tuple(f"- {line}" for line in lines))
            for heading, lines in lists.items()
            if lines
        ),
    ]


def _in_words(heading, name, key, head, rows, after=()):
    """Section of one table of words."""
    return Section(key, heading, name, tables=(Table("", head, tuple(rows)),), in_words=True, after=after)


def plain_note(note: str) -> str:
    """'sitka_spruce: estimated E_R' -> 'sitka spruce: estimated E_R'."""
    name, colon, rest = note.partition(":")
    return name.replace("_", " ") + colon + rest


def breaking(key: str) -> str:
    """A key that may be broken after its signs, where the page is narrow."""
    return key.replace("_", "_\u200b").replace(".", ".\u200b") if " " not in key else key


METHODS = (  # of the figures on the page
    ("strain energy and loss factor of a mode", "Ungar & Kerwin, J. Acoust. Soc. Am. 34:954 (1962)"),
    ("mesh error from two mesh sizes", "Roache, J. Fluids Eng. 116:405 (1994)"),
    ("modes by block Lanczos", "Grimes, Lewis & Simon, SIAM J. Matrix Anal. Appl. 15:228 (1994)"),
    ("losses of the air at the walls and in the opening", "Pierce, Acoustics (1981)"),
    (
        "the player's body at chest, thigh and arm",
        "Oestreicher, J. Acoust. Soc. Am. 23:707 (1951); Johnson, Contact Mechanics (1985)",
    ),
)


def sources(body: Body, more: Iterable[tuple[str, str]] = ()) -> Section:
    """Section: published sources of methods and woods. more: further (what, source) pairs."""
    woods: dict[tuple[str, str], list[str]] = {}
    for name, wood in woods_used(body).items():
        for constant, source in wood.sources.items():
            woods.setdefault((name, source), []).append(constant)
    of_woods = [
        (plain_note(f"{name}: {', '.join(dict.fromkeys(keys))}"), source)
        for (name, source), keys in sorted(woods.items())
    ]
    return _in_words("Sources", "sources", "sources", ("what", "source"), [*METHODS, *more, *of_woods], (ELSEWHERE,))


def made_with(told: Mapping[str, Plain]) -> Section:
    """Section of {what: value}."""
    words = lambda v: " and ".join(f"{x:g}" for x in v) if isinstance(v, list | tuple) else str(v)
    rows = [(key.replace("_", " "), words(value)) for key, value in told.items()]
    return _in_words("Provenance", "provenance", "provenance", ("what", "value"), rows)
