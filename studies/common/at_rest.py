"""A box or rim at rest in all its builds, the sheet's own in three spaces: what is held of it, and what files tell of a build."""

from dataclasses import dataclass, field
from typing import Generic

from fem.elements import Space
from meshes.body import Body
from studies.common.files import Plain
from studies.common.inputs import NO_SOURCE, Source
from studies.common.mesh_error import rim_grams
from studies.common.table import BuildRow, Row


@dataclass(frozen=True)
class AtRest(Generic[Row]):
    """Everything that a report is made from; each study adds its own."""

    body: Body
    size: float  # m, of the mesh
    unknowns: tuple[int, ...]  # of cubic elements, the richer ones, and those on longer edges
    rows: tuple[Row, ...]  # the sheet's own build first
    richer: Row  # the sheet's own build in the richer space
    faceted: Row  # likewise, on longer edges
    space: Space  # of cubic elements
    source: Source = field(default=NO_SOURCE, kw_only=True)

    @property
    def own(self) -> tuple[Row, Row, Row]:
        """The sheet's own build in cubic elements, in the richer space, on longer edges."""
        return self.rows[0], self.richer, self.faceted

    @property
    def real(self) -> tuple[Row, ...]:
        """Builds other than the sheet's own that can be built."""
        return tuple(row for row in self.rows[1:] if row.build.stiffness == 1)


def told_build(row: BuildRow) -> dict[str, Plain]:
    """What every JSON file says of a build first."""
    build = row.build
    return {
        "name": build.name, "label": build.label, "note": build.note, "rim_g": rim_grams(row), "mass_kg": row.mass,
    }  # fmt: skip


def told_figure(row: BuildRow, value: float, unit: str, error: float) -> dict[str, Plain]:
    """What a line of the CSV says of a figure of a build last."""
    grams = rim_grams(row)
    return {"value": value, "unit": unit, "mesh_error": error, "rim_g": grams, "per_100_g_of_rim": value * 100 / grams}
