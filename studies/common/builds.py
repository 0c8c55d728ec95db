"""The rim builds that are compared: each changes one thing from the sheet's own build, on the same mesh."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from fem.mesh import part_of
from fem.sections import Section, scaled
from meshes.body import Assumption, Body, Lining, Measured
from meshes.parts import sections

STIFF = 1e3  # times the rim's stiffness in the limit case
STIFFENED = ("sides", "lining_top", "lining_back", "side_bars")
AS_ON_SHEET = "as on the sheet: "  # before the label of the sheet's own build
COMMON = "common practice, no source"
MEASURES = {  # of a lining, where the sheet's own kind does not need them
    "width": (0.006, "width", "mm"),
    "height": (0.015, "height", "mm"),
    "kerf_spacing": (0.008, "kerf spacing", "mm"),
    "kerf_width": (0.001, "kerf width", "mm"),
    "web": (0.0012, "wood left under the kerf", "mm"),
}
LININGS = {
    "kerfed": "kerfed linings",
    "reversed_kerfed": "reversed kerfed linings",
    "solid_laminated": "solid laminated linings",
    "none": "no linings",
    "mixed": "top and back linings of different kinds",
}


@dataclass(frozen=True)
class Build:
    """One way to build the rim."""

    name: str
    label: str  # in plain words
    body: Body
    is_base: bool = False  # the sheet's own build
    note: str = ""
    stiffness: float = 1.0  # of the rim, over the real one

    @property
    def short(self) -> str:
        """The label without the words for the sheet's own build."""
        return self.label.removeprefix(AS_ON_SHEET)

    @property
    def is_other(self) -> bool:
        """Whether somebody could build it instead of the sheet's own."""
        return not self.is_base and self.stiffness == 1

    def stiffened(self, region: str, section: Section) -> Section:
        """A section of the body as this build has it: that of the rim scaled in the limit case."""
        scales = self.stiffness != 1 and part_of(region) in STIFFENED
        return scaled(section, self.stiffness) if scales else section

    def sections(self) -> dict[str, Section]:
        """{region: Section}."""
        return {region: self.stiffened(region, s) for region, s in sections(self.body).items()}


def physical(build: Build) -> tuple[Body, float]:
    """What a computed result of a Build may depend on: its body without words and measurements, its rim's stiffness."""
    bare = replace(build.body, name="", measured=Measured(), assumed=(), warnings=())
    return bare, build.stiffness


def complete_linings(body: Body) -> tuple[Body, tuple[Assumption, ...]]:
    """The body with every measure that any kind of lining needs, and the assumptions made for that."""
    assumed, linings = [], {}
    for place in ("lining_top", "lining_back"):
        lining = getattr(body, place)
        missing = {key: measure for key, measure in MEASURES.items() if not getattr(lining, key)}
        linings[place] = replace(lining, **{key: value for key, (value, _, _) in missing.items()})
        for value, words, unit in missing.values():
            assumed.append(Assumption(f"{place}, {words}", f"{1e3 * value:g} {unit}, for builds that need it", COMMON))
        if lining.wood is None:
            linings[place] = replace(linings[place], wood=body.sides[0].wood)
            assumed.append(Assumption(f"{place}, wood", "that of the sides, for builds that need it", COMMON))
    return replace(body, **linings), tuple(assumed)


def builds(body: Body) -> list[Build]:
    """The Builds of a body whose linings are complete, the sheet's own first."""
    outer, own = body.sides[0], lining_kind(body)
    if len(body.sides) == 1:
        label = f"doubled sides ({1e3 * outer.thickness:g} + {1e3 * outer.thickness:g} mm)"
        note = "a second, equal layer glued inside"
        other_sides = Build("doubled_sides", label, replace(body, sides=(outer, outer)), note=note)
    else:
        other_sides = Build("single_sides", "single sides (outer layer only)", replace(body, sides=(outer,)))
    other_kinds = [kind for kind in ("kerfed", "reversed_kerfed", "solid_laminated") if kind != own]
    return [
        Build("sheet", AS_ON_SHEET + describe(body), body, is_base=True),
        *(Build(kind, LININGS[kind], with_linings(body, partial(replace, kind=kind))) for kind in other_kinds),
        Build(
            "solid_trimmed", "solid linings trimmed to the kerfed weight", with_linings(body, trimmed_solid),
            note="as high as the kerfed ones, planed thinner until they weigh the same",
        ),
        other_sides,
        Build(
            "stiff_limit", "impossibly stiff rim, for comparison", body, stiffness=STIFF,
            note="cannot be built: real weight, 1000 times the stiffness",
        ),
    ]  # fmt: skip


def lining_kind(body: Body) -> str:
    """The kind of both linings, or 'mixed'."""
    kinds = {body.lining_top.kind, body.lining_back.kind}
    return kinds.pop() if len(kinds) == 1 else "mixed"


def describe(body: Body) -> str:
    """'kerfed linings, single sides'."""
    return f"{LININGS[lining_kind(body)]}, {'single' if len(body.sides) == 1 else 'doubled'} sides"


def with_linings(body: Body, changed: Callable[[Lining], Lining]) -> Body:
    """The body with both linings changed alike."""
    return replace(body, lining_top=changed(body.lining_top), lining_back=changed(body.lining_back))


def trimmed_solid(lining: Lining) -> Lining:
    """A solid lining of a kerfed one's weight: thinner by the wood that the saw cuts take out, without a bevel."""
    cut = lining.kerf_width / lining.kerf_spacing * (lining.mean_width - lining.web)
    return replace(lining, kind="solid_laminated", width=lining.mean_width - cut, bevel_width=None)
