"""What a worker of a sweep has at hand: geometries, sections, and a reduced model for each mesh and build of the rim."""

from dataclasses import dataclass, field, replace

from fem.sections import Section
from meshes.body import Body
from meshes.source_hash import source_hash
from studies.common.builds import Build
from studies.common.kept import fingerprint
from studies.sweep.basis import ReducedModel
from studies.sweep.bodies import body_at
from studies.sweep.design import Remade, Variant, Where, point_of
from studies.sweep.maps import ParameterMaps, variant_build
from studies.sweep.plan import Sweep
from studies.sweep.sections import Fitted, Tabulated, quick_sections

Family = tuple[str, str]  # fingerprint of a mesh and, where no string is plucked, a build of the rim

SOURCE = ("studies.sweep.variant", "studies.sweep.prepare")  # that computes rows and their reduced models


@dataclass(frozen=True)
class BaseGeometry:
    """A body at one set of remade factors, how the quick ones act on it, and the fingerprint of its mesh."""

    body: Body
    maps: ParameterMaps
    mesh: str


@dataclass(frozen=True)
class Kit:
    """Everything that a worker needs; travels by pickle."""

    sweep: Sweep
    maps: ParameterMaps
    geometries: dict[Remade, BaseGeometry] = field(default_factory=dict)  # empty: all in full
    slow: dict[Where, dict[str, Tabulated | Fitted]] = field(default_factory=dict)  # by piece
    constant: dict[Where, dict[str, dict[str, Section]]] = field(default_factory=dict)  # by function
    models: dict[Family, ReducedModel] = field(default_factory=dict)
    words: tuple[str, ...] = ()  # what was done, for the log

    def remade(self, variant: Variant) -> Remade:
        """Values of the factors that remake the body."""
        return tuple(variant.values[name] for name in self.maps.remade)

    def geometry(self, variant: Variant) -> BaseGeometry:
        """That which the variant's quick factors start from."""
        return self.geometries[self.remade(variant)]

    def build(self, variant: Variant) -> Build:
        """The variant's build of the rim, by its quick factors."""
        base = self.geometry(variant)
        return variant_build(base.body, base.maps, variant)

    def family(self, variant: Variant) -> Family:
        """Name of the reduced model for a variant, ('', '') without a mesh: one for each mesh and build of the rim.

        A small basis is a fast one. With strings one for each mesh, since its air outside costs more than full solves.
        """
        base = self.geometries.get(self.remade(variant))
        return (base.mesh, "" if self.sweep.plan.plucked else variant.rim) if base else ("", "")

    def reduced(self, variant: Variant) -> bool:
        """Whether a reduced model serves this variant."""
        return self.family(variant) in self.models


def sheet_print(sweep: Sweep) -> str:
    """Fingerprint of the body that the base sheet describes; comments and the order of keys do not count."""
    return fingerprint(replace(body_at(sweep, {}), assumed=(), warnings=()))


def source() -> str:
    """Hash of the source that computes rows."""
    return source_hash(*SOURCE)


def row_key(sweep: Sweep, sheet: str, variant: Variant) -> str:
    """Key of a variant's row: everything that its numbers depend on. sheet: sheet_print(sweep)."""
    plan = sweep.plan
    strings = (sweep.strings, sweep.notes_at, sweep.pluck, plan.sustain.held) if plan.plucked else ()
    return fingerprint(
        source(), sheet, sweep.written(variant.values), variant.draws, variant.rim, plan.mesh_size_mm, plan.modes, list(plan.outputs),
        *strings,
    )  # fmt: skip


def sections_of(kit: Kit, variant: Variant) -> dict[str, Section]:
    """{region: Section} of a variant by tables and fits."""
    where = (kit.remade(variant), variant.rim)
    return quick_sections(kit.build(variant), kit.slow[where], point_of(kit.sweep.plan, variant), kit.constant[where])
