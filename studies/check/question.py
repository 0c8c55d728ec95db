"""Is the build sheet sound, and what does the instrument on it weigh and measure?"""

from dataclasses import replace
from pathlib import Path

from meshes.describe import check_text
from meshes.drawing import draw_plan
from meshes.new_sheet import new_sheet_text, starts
from meshes.sheet_errors import nearest
from meshes.side_profile import draw_profile, write_profile_table
from meshes.whole_file import write_whole
from studies.common import cautions
from studies.common.inputs import BadInput, given_sheet, writable_file
from studies.common.measured import beside, table


def check_sheet(sheet: str | Path, out: str | Path | None = None) -> str:
    """Check a sheet, draw it to scale, write the unbent sides; returns the text to print."""
    given = given_sheet(sheet)
    body, out = given.body, given.folder(out, "check")
    written = draw_plan(body, *(out / f"plan{suffix}" for suffix in (".svg", ".pdf", ".png")))
    for side in ("bass", "treble"):
        written.append(write_profile_table(body, out / f"unbent-side-{side}.csv", side))
        written.append(draw_profile(body, out / f"unbent-side-{side}.pdf", side))
    told = [check_text(body)]
    if body.measured and body.measured.weights:
        from meshes.build import DEFAULT_SIZE
        from studies.measured.solve import computed_weights

        weighed = replace(body.measured, squeezes={}, taps={})
        told += [
            "Measured beside computed",
            table(beside(weighed, computed_weights(body, weighed.weights, DEFAULT_SIZE))),
            "",
        ]
    return "\n".join([*told, *cautions.SHEET, "", *(f"wrote {path}" for path in written)])


def write_new(file: str | Path, like: str | None = None) -> str:
    """Write a commented minimal sheet, or a copy of one of starts(), to a new file; returns what to say. BadInput for a name unknown."""
    file = Path(file)
    if file.suffix.lower() != ".toml":
        raise BadInput(f"{file}: expected a name that ends in .toml")
    if file.exists():
        raise BadInput(f"{file}: exists already and is left alone; expected a new name")
    like = None if like is None else like.strip().lower().replace("-", "_").replace(" ", "_")
    if like is not None and like not in starts():
        known = f"expected one of {', '.join(starts())}"
        raise BadInput(f"--like {like}: {'; '.join(filter(None, (known, nearest(like, starts()))))}")
    write_whole(writable_file(file), new_sheet_text(like))
    return f"wrote {file}: {'fill in' if like is None else 'change it to'} your measures, then 'rimwork check {file}'"
