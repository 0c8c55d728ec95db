"""No command loads what it does not use: what stands in memory after a command's own modules, each in a fresh process."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOLVING = {"scipy", "skfem", "pymetis", "gmsh", "meshio"}
DRAWN = {"pyvista", "matplotlib"}
REST = {"distributed", "jinja2"}
HELP = "import contextlib, io\nfrom studies.__main__ import main\nwith contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n    main({})"
NOT_LOADED = {  # what is run -> what must not be loaded
    HELP.format(["--help"]): SOLVING | DRAWN | REST | {"numpy", "pydantic", "rich.markdown", "markdown_it", "meshes", "fem"},
    HELP.format(["rim", "--help"]): SOLVING | DRAWN | REST | {"numpy", "rich.markdown", "markdown_it", "meshes", "fem"},
    "import studies.check.question": SOLVING | REST | {"pyvista", "matplotlib.pyplot", "fem.model", "sqlite3"},
    "from meshes.sheet import read_sheet\nread_sheet('meshes/bodies/hazel.toml')": SOLVING | DRAWN | REST | {"fem.model"},
    "import meshes.build, meshes.parts": SOLVING | DRAWN | REST | {"fem.model"},
    "import studies.modes.question": {"pyvista", "gmsh", "meshio", "scipy.optimize", "scipy.stats", "scipy.interpolate", *REST},
    "import studies.rim.question": {"pyvista", "gmsh", "meshio", "scipy.stats", "scipy.interpolate", "distributed"},
    "import studies.sustain.question": {"pyvista", "gmsh", "meshio", "scipy.signal", "distributed"},
}  # fmt: skip


def loaded(code: str) -> set[str]:
    """Names of all modules that a fresh process holds after some code."""
    told = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys\nprint(*sys.modules, sep='\\n')"],
        cwd=ROOT, capture_output=True, text=True, check=True, encoding="utf-8",
    )  # fmt: skip
    return set(told.stdout.split())


@pytest.mark.parametrize("code", NOT_LOADED, ids=lambda code: code.splitlines()[-1].strip())
def test_nothing_is_loaded_that_is_not_used(code):
    assert not loaded(code) & NOT_LOADED[code]


def test_what_is_loaded_is_seen():
    assert {"scipy", "numpy"} <= loaded("import scipy.optimize")
