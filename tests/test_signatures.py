"""What functions are called and take: one name, one meaning; eight parameters at most, each with a name of its own."""

import ast
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
MOST = 8
# The grammar of a question's room: the same meaning in each, and the parameters it begins with.
GRAMMAR = {
    "answer": ("study",), "as_json": ("study",), "draw": ("study",), "found": ("study",), "per_mode": ("study",),
    "records": ("study",), "report": ("study",), "summary_text": ("study",), "tables": ("study",), "text": ("study",),
    "write_report": ("study", "out", "pictures"),
    "check": (), "pack": (), "unpack": (),  # of results that are kept
}  # fmt: skip


def functions(*folders: str) -> Iterator[tuple[str, ast.FunctionDef | ast.Lambda]]:
    """(path, function) of every function, commands of the command line left out."""
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*.py")):
            if path.name != "__main__.py":
                for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                    if isinstance(node, ast.FunctionDef | ast.Lambda):
                        yield str(path.relative_to(ROOT)), node


def too_many(node: ast.FunctionDef | ast.Lambda) -> bool:
    """Whether a function takes too much, or a bag without names."""
    a = node.args
    own = [arg for arg in a.posonlyargs + a.args + a.kwonlyargs if arg.arg not in ("self", "cls")]
    return len(own) > MOST or a.kwarg is not None


def test_eight_parameters_and_no_bags():
    everywhere = functions("fem", "meshes", "studies")
    assert [(path, getattr(node, "name", "lambda")) for path, node in everywhere if too_many(node)] == []


def test_a_crowd_and_a_bag_are_noticed():
    crowd, bag, fine = ast.parse("def f(a, b, c, d, e, f, g, h, i): 0\ndef f(**more): 0\ndef f(*, a, b): 0").body
    assert too_many(crowd) and too_many(bag) and not too_many(fine)


def public() -> dict[str, dict[str, tuple[str, ...]]]:
    """{name: {path: parameters}} of public functions of the modules of studies."""
    found = defaultdict(dict)
    for path in sorted((ROOT / "studies").rglob("*.py")):
        if path.name != "__main__.py":
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    found[node.name][str(path.relative_to(ROOT))] = tuple(a.arg for a in node.args.args)
    return found


def test_one_name_has_one_meaning():
    """No public function's name in two modules of studies, but for the grammar's."""
    assert {n: sorted(there) for n, there in public().items() if len(there) > 1 and n not in GRAMMAR} == {}


def test_the_grammar_is_kept():
    """Every room's `text` takes its study, and so on."""
    for name, first in GRAMMAR.items():
        for path, given in public()[name].items():
            assert given[: len(first)] == first, (path, name, given)
