"""Imports go one way, studies -> meshes -> fem, and fem stands on numpy, scipy and scikit-fem alone."""

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MAY_IMPORT = {"fem": {"fem"}, "meshes": {"meshes", "fem"}, "studies": {"studies", "meshes", "fem"}}
FEM_NEEDS = {"numpy", "scipy", "skfem"}
FEM_MAY_HAVE = {"pymetis"}  # only inside try ... except ImportError
FILES = sorted(path for folder in MAY_IMPORT for path in (ROOT / folder).rglob("*.py"))


def imported(tree):
    """{top-level module: [line]} of every import in a syntax tree, wherever it stands."""
    found = {}
    for node in ast.walk(tree):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module] if node.level == 0 else ["." * node.level]
        for name in names:
            found.setdefault(name.split(".")[0] or "relative", []).append(node.lineno)
    return found


def guarded(tree):
    """Top-level modules imported inside try ... except ImportError."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Try) and any(getattr(h.type, "id", "") == "ImportError" for h in node.handlers):
            names |= set(imported(ast.Module(node.body, [])))
    return names


def wrong_imports(folder, tree):
    """{module: lines} of imports that a file of this folder may not have."""
    found = imported(tree)
    wrong = {m: lines for m, lines in found.items() if m in {*MAY_IMPORT, "tests"} - MAY_IMPORT[folder]}
    if "relative" in found:
        wrong["relative"] = found["relative"]
    if folder == "fem":
        allowed = FEM_NEEDS | {"fem"} | (FEM_MAY_HAVE & guarded(tree))
        wrong |= {m: lines for m, lines in found.items() if m not in allowed and m not in sys.stdlib_module_names}
    return wrong


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_go_one_way(path):
    folder = path.relative_to(ROOT).parts[0]
    assert not wrong_imports(folder, ast.parse(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    ("folder", "text"),
    [
        ("fem", "from meshes.body import Body"), ("fem", "import studies"), ("fem", "def f():\n    import gmsh"),
        ("fem", "import pymetis"), ("meshes", "from studies import rim"), ("fem", "from . import mesh"),
        ("studies", "from tests import shell_cases"),
    ],
)  # fmt: skip
def test_a_wrong_import_is_found(folder, text):
    assert wrong_imports(folder, ast.parse(text))


def test_a_right_import_passes():
    text = "import numpy as np\nfrom fem.mesh import ShellMesh\ntry:\n    import pymetis\nexcept ImportError:\n    pass"
    assert not wrong_imports("fem", ast.parse(text))
