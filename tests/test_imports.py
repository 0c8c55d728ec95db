"""Imports go one way, studies -> meshes -> fem, in studies from floor to floor, nowhere in a circle; fem needs three libraries."""

import ast
import graphlib
import sys
from pathlib import Path

import pytest

from studies import FLOORS

ROOT = Path(__file__).parents[1]
MAY_IMPORT = {"fem": {"fem"}, "meshes": {"meshes", "fem"}, "studies": {"studies", "meshes", "fem"}}
FEM_NEEDS = {"numpy", "scipy", "skfem"}
FEM_MAY_HAVE = {"pymetis", "rslab"}  # only inside try ... except ImportError
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


# --- floors and circles ---


def arrows(sources):
    """{module: project modules it imports, wherever in the file} of {module: text}; `from package import module` counts as the module."""
    found = {name: set() for name in sources}
    for name, text in sources.items():
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.ImportFrom) and node.level == 0:
                for alias in node.names:
                    inner = f"{node.module}.{alias.name}"
                    found[name].add(inner if inner in sources else node.module)
            elif isinstance(node, ast.Import):
                found[name].update(alias.name for alias in node.names)
    return {name: targets & set(sources) - {name} for name, targets in found.items()}


def upward(graph, floors):
    """(module, imported) of every import from another room of studies that does not lie on a lower floor."""
    floor = {room: number for number, rooms in enumerate((*floors, ("__main__",))) for room in rooms}
    room = {m: m.split(".")[1] for m in graph if m.startswith("studies.")}
    return [
        (a, b) for a in room for b in graph[a] & set(room) if room[a] != room[b] and floor[room[a]] <= floor[room[b]]
    ]


def the_tree():
    named = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in FILES}
    return arrows({m.removesuffix(".__init__"): p.read_text(encoding="utf-8") for m, p in named.items()})


def test_no_import_goes_up_a_floor():
    assert not upward(the_tree(), FLOORS)


def test_no_imports_go_in_a_circle():
    graphlib.TopologicalSorter(the_tree()).prepare()


def test_every_room_has_a_floor_and_the_guide_shows_it():
    rooms = sorted(p.name for p in (ROOT / "studies").iterdir() if (p / "__init__.py").is_file())
    assert rooms == sorted(room for floor in FLOORS for room in floor)
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for number, floor in enumerate(FLOORS):
        assert f"{number}  {', '.join(floor)}" in guide


# --- one door ---

SOLVERS = {"fem.eigen": "modes", "fem.richer": "richer_modes"}
OF_NO_BOX = {  # open rims, loose plates, meshes from elsewhere
    "studies.measured.solve": "modes", "studies.modes.question": "modes", "studies.squeeze.solve": "modes",
    "studies.tap.solve": "modes",
}  # fmt: skip


def solvers(sources):
    """{module: solver of an eigenproblem that it imports, by itself or with its module} of {module: text}, but for studies.solved."""
    found = {}
    for name, text in sources.items():
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.ImportFrom):
                taken = [*(f"{node.module}.{alias.name}" for alias in node.names)]
            else:
                taken = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            for module, solver in SOLVERS.items():
                if {module, f"{module}.{solver}"} & set(taken):
                    found[name] = solver
    return {name: solver for name, solver in found.items() if not name.startswith("studies.solved.")}


def test_no_question_solves_a_box_by_itself():
    files = (path for path in FILES if path.relative_to(ROOT).parts[0] == "studies")
    named = {".".join(path.relative_to(ROOT).with_suffix("").parts): path.read_text(encoding="utf-8") for path in files}
    assert solvers(named) == OF_NO_BOX


HELD = {"with_supports", "modes_of", "real_modes", "string_body"}  # what studies.solved.answer does for every question


def test_no_question_holds_a_body_by_itself():
    trees = {
        p: ast.parse(p.read_text(encoding="utf-8"))
        for p in (ROOT / "studies").glob("*/*.py")
        if p.parent.name != "solved"
    }
    taken = {
        (path.name, alias.name)
        for path, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("meshes")
        for alias in node.names
    }
    assert ("question.py", "string_ends") in taken and not {pair for pair in taken if pair[1] in HELD}


@pytest.mark.parametrize(
    "line",
    [
        "from fem.eigen import mac, modes",
        "def f():\n    from fem.richer import richer_modes as r",
        "from fem import eigen",
        "import fem.richer",
    ],
)
def test_a_question_that_solves_is_found(line):
    assert solvers({"studies.rim.air": line, "studies.solved.dry": line}).keys() == {"studies.rim.air"}
    assert not solvers({"studies.rim.air": "from fem.eigen import mac"})


@pytest.mark.parametrize(
    "line", ["from studies.high.b import x", "from studies.high import b", "import studies.high.b"]
)
@pytest.mark.parametrize("form", ["{}", "def f():\n    {}", "if True:\n    {}"])
def test_an_import_up_a_floor_or_in_a_circle_is_found(line, form):
    graph = arrows({"studies.low.a": form.format(line), "studies.high.b": "from studies.low.a import y"})
    assert upward(graph, (("low",), ("high",))) == [("studies.low.a", "studies.high.b")]
    assert upward(graph, (("low", "high"),)) != []
    with pytest.raises(graphlib.CycleError):
        graphlib.TopologicalSorter(graph).prepare()
