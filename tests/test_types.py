"""Types of public functions: there are none without, and the checker finds no fault, at its basic level."""

import ast
from pathlib import Path

import pytest
from mypy import api

ROOT = Path(__file__).parents[1]
FILES = sorted(path for folder in ("fem", "meshes", "studies") for path in (ROOT / folder).rglob("*.py"))


def untyped(text):
    """Names of the public functions and methods of a module that lack the type of a parameter or of what they return."""
    lacking = []
    for owner in (module := ast.parse(text), *(n for n in module.body if isinstance(n, ast.ClassDef))):
        for node in owner.body:
            if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
                continue
            given = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            if isinstance(owner, ast.ClassDef) and not any(
                getattr(d, "id", "") == "staticmethod" for d in node.decorator_list
            ):
                given = given[1:]  # self
            if node.returns is None or any(a.annotation is None for a in given):
                lacking.append(node.name)
    return lacking


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_public_functions_tell_their_types(path):
    assert not untyped(path.read_text(encoding="utf-8"))


@pytest.mark.slow
def test_the_checker_finds_no_fault():
    told, _, status = api.run(["--config-file", str(ROOT / "pyproject.toml"), "--no-incremental", *map(str, FILES)])
    assert status == 0, told


def test_a_missing_type_is_found():
    assert untyped("def f(a: int): ...") == ["f"] and untyped("def f(a) -> int: ...") == ["f"]
    assert untyped("class C:\n    def m(self, a) -> int: ...\n    def _p(self, a): ...") == ["m"]
    assert not untyped("def _f(a): ...\ndef g(a: int) -> int: ...\nclass C:\n    def m(self) -> int: ...")
