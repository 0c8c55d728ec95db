"""The rim builds that are compared: each changes one thing from the sheet's own build, on the same mesh."""

from dataclasses import dataclass, replace

from fem.mesh import part_of
from fem.sections import scaled
from meshes.body import Assumption, Body, Measured
from meshes.parts import sections

STIFF = 1e3  # times the rim's stiffness in the limit case
STIFFENED = ("sides", "lining_top", "lining_back", "side_bars")
COMMON = "common practice, no source"
MEASURES = {  # of a lining, where the sheet's own kind does not need them
    "width": (0.006, "width", "mm"),
    "height": (0.015, "height", "mm"),
    "kerf_spacing": (0.008, "kerf spacing", "mm"),
    "kerf_width": (0.001, "kerf width", "mm"),
    "web": (0.0012, "wood left under the kerf", "mm"),
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

    def sections(self):
        """{region: Section}."""
        found = sections(self.body)
        if self.stiffness == 1:
            return found
        return {region: scaled(s, self.stiffness) if part_of(region) in STIFFENED else s for region, s in found.items()}


def physical(build: Build) -> tuple[Body, float]:
    """What a computed result of a Build may depend on: its body without words and measurements, its rim's stiffness."""
    bare = replace(build.body, name="", measured=Measured(), assumed=(), warnings=())
    return bare, build.stiffness


def complete_linings(body):
    """The body with every measure that any kind of lining needs, and the assumptions made for that."""
    assumed, linings = [], {}
    for place in ("lining_top", "lining_back"):
        lining, given = getattr(body, place), {}
        for key, (value, words, unit) in MEASURES.items():
            if not getattr(lining, key):
                given[key] = value
                assumed.append(
                    Assumption(f"{place}, {words}", f"{1e3 * value:g} {unit}, for builds that need it", COMMON)
                )
        if lining.wood is None:
            given["wood"] = body.sides[0].wood
            assumed.append(Assumption(f"{place}, wood", "that of the sides, for builds that need it", COMMON))
        linings[place] = replace(lining, **given)
    return replace(body, **linings), tuple(assumed)


def builds(body):
    """The Builds of a body whose linings are complete, the sheet's own first."""
    own = lining_kind(body)
    rows = [Build("sheet", f"as on the sheet: {describe(body)}", body, is_base=True)]
    for kind, label in (
        ("kerfed", "kerfed linings"),
        ("reversed_kerfed", "reversed kerfed linings"),
        ("solid_laminated", "solid laminated linings"),
    ):
        if kind != own:
            rows.append(Build(kind, label, with_linings(body, kind=kind)))
    rows.append(
        Build(
            "solid_trimmed",
            "solid linings trimmed to the kerfed weight",
            trimmed_solid(body),
            note="as high as the kerfed ones, planed thinner until they weigh the same",
        )
    )
    if len(body.sides) == 1:
        outer = body.sides[0]
        label = f"doubled sides ({1e3 * outer.thickness:g} + {1e3 * outer.thickness:g} mm)"
        rows.append(
            Build(
                "doubled_sides", label, replace(body, sides=(outer, outer)), note="a second, equal layer glued inside"
            )
        )
    else:
        rows.append(Build("single_sides", "single sides (outer layer only)", replace(body, sides=body.sides[:1])))
    rows.append(
        Build(
            "stiff_limit",
            "stiff-rim limit",
            body,
            note="limit case, cannot be built: real weight, 1000 times the stiffness",
            stiffness=STIFF,
        )
    )
    return rows


def lining_kind(body):
    """The kind of both linings, or 'mixed'."""
    kinds = {body.lining_top.kind, body.lining_back.kind}
    return kinds.pop() if len(kinds) == 1 else "mixed"


def describe(body):
    """'kerfed linings, single sides'."""
    words = {
        "kerfed": "kerfed linings", "reversed_kerfed": "reversed kerfed linings", "none": "no linings",
        "solid_laminated": "solid laminated linings", "mixed": "top and back linings of different kinds",
    }  # fmt: skip
    return f"{words[lining_kind(body)]}, {'single' if len(body.sides) == 1 else 'doubled'} sides"


def with_linings(body, **changes):
    """The body with both linings changed alike."""
    return replace(
        body, lining_top=replace(body.lining_top, **changes), lining_back=replace(body.lining_back, **changes)
    )


def trimmed_solid(body):
    """Solid linings of the kerfed ones' weight: thinner by the wood that the saw cuts take out, without a bevel."""

    def trimmed(lining):
        cut = lining.kerf_width / lining.kerf_spacing * (lining.mean_width - lining.web)
        return replace(lining, kind="solid_laminated", width=lining.mean_width - cut, bevel_width=None)

    return replace(body, lining_top=trimmed(body.lining_top), lining_back=trimmed(body.lining_back))
