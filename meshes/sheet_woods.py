"""The woods of a build sheet: those of the library, and the maker's own [wood.NAME] tables in SI."""

from collections.abc import Collection, Mapping
from dataclasses import replace

from fem.materials import Wood
from fem.solid import solid_stiffness
from meshes.sheet_errors import Mistake, likely, nearest
from meshes.sheet_fields import WoodTable

GPA = 1e9
WOOD_KEYS = {
    "E_along_GPa": ("E_L", GPA),
    "E_across_GPa": ("E_R", GPA),
    "E_normal_GPa": ("E_T", GPA),
    "nu_along_across": ("nu_LR", 1),
    "nu_along_normal": ("nu_LT", 1),
    "nu_across_normal": ("nu_RT", 1),
    "G_in_plane_GPa": ("G_LR", GPA),
    "G_along_normal_GPa": ("G_LT", GPA),
    "G_across_normal_GPa": ("G_RT", GPA),
    "density_kg_m3": ("density", 1),
    "loss_along": ("loss_L", 1),
    "loss_across": ("loss_R", 1),
    "loss_shear": ("loss_G", 1),
}
OPTIONAL = {"loss_along", "loss_across", "loss_shear", "E_normal_GPa", "nu_along_normal", "nu_across_normal"}


def woods_of(
    tables: Mapping[str, WoodTable], library: Mapping[str, Wood], file: str, refused: Collection[str] = ()
) -> tuple[dict[str, Wood], list[Mistake]]:
    """({name: Wood} of the library and the sheet's [wood.NAME] tables, mistakes); refused: keys told of already."""
    woods, mistakes = dict(library), []
    for name, table in tables.items():
        given = {key: getattr(table, key) for key in WOOD_KEYS if getattr(table, key) is not None}
        values = {WOOD_KEYS[key][0]: value * WOOD_KEYS[key][1] for key, value in given.items()}
        needed = [key for key in WOOD_KEYS if key not in given and key not in OPTIONAL]
        missing = [key for key in needed if f"wood.{name}.{key}" not in refused]
        if name not in library and needed and not missing:
            continue
        if name not in library and missing:
            mistakes.append(
                Mistake(
                    file,
                    f"wood.{name}",
                    "lacks " + ", ".join(missing),
                    "all of them for a wood of your own",
                    nearest(name, library),
                )
            )
            continue
        sources = {constant: table.source or "build sheet" for constant in values}
        try:
            if name in library:
                old = library[name]
                woods[name] = replace(old, **values, sources={**old.sources, **sources})
            else:
                woods[name] = Wood(name, **values, sources=sources)
            solid_stiffness(woods[name])
            mistakes += _stiff_in_shear(woods[name], given, file)
        except ValueError as error:
            mistakes.append(Mistake(file, f"wood.{name}", "impossible", str(error).split(": ", 1)[-1]))
    return woods, mistakes


def _stiff_in_shear(wood: Wood, given: Mapping[str, float], file: str) -> list[Mistake]:
    """Mistakes where a shear modulus that the sheet gives is larger than the modulus that bounds it in any board."""
    mistakes = []
    for key in [key for key in given if key.startswith("G_")]:
        bound = "E_across_GPa" if key == "G_across_normal_GPa" else "E_along_GPa"
        most, value = getattr(wood, WOOD_KEYS[bound][0]) / GPA, given[key]
        if value > most:
            text, hint = f"at most {bound} = {most:.3g} GPa", likely(value, 0.001, most, in_gpa=True)
            mistakes.append(Mistake(file, f"wood.{wood.name}.{key}", f"{value:g}", text, hint))
    return mistakes
