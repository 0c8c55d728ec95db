"""Directives `run`, `file` and `shot`: examples that the build executes, in one scratch folder a page; a failure stops it."""

import os
import shlex
import shutil
import subprocess
import sys
import textwrap
from pathlib import Path

from docutils import nodes
from docutils.parsers.rst import directives
from sphinx.errors import ExtensionError
from sphinx.util.docutils import SphinxDirective

REPOSITORY = Path(__file__).resolve().parents[2]
LIMIT = 900  # s of an example
QUIET = {
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "PYTHONIOENCODING": "utf-8",
    "NO_COLOR": "1",
    "COLUMNS": "100",
}


def folder_of(doctrees, page):
    """The scratch folder of a page; emptied before the page is read again."""
    return Path(doctrees) / "scratch" / page.replace("/", "-")


class Executed(SphinxDirective):
    """What the three share."""

    has_content = True

    def folder(self):
        folder = folder_of(self.env.doctreedir, self.env.docname)
        folder.mkdir(parents=True, exist_ok=True)
        return folder

    def fault(self, words):
        return ExtensionError(f"{self.env.docname}, line {self.lineno}: {words}")


def block(text, language):
    return nodes.literal_block(text, text, language=language)


def folded(line):
    """Prose in lines of 100 signs; rows of tables, known by their gaps, stay whole."""
    return textwrap.wrap(line, 100, subsequent_indent="  ") if len(line) > 100 and "  " not in line.strip() else [line]


class Run(Executed):
    """`rimwork ...` lines, or a Python snippet, and what they print, at most `lines` of it; `status` of a refusal: 2."""

    option_spec = {"status": directives.nonnegative_int, "lines": directives.positive_int}

    def run(self):
        text = "\n".join(self.content)
        if not text.startswith("rimwork "):
            return [block(text, "python"), *self.printed("-c", text)]
        pairs = [(line, shlex.split(line)[1:]) for line in text.splitlines()]
        return [
            n for line, words in pairs for n in (block(f"$ {line}", "console"), *self.printed("-m", "studies", *words))
        ]

    def printed(self, *arguments):
        cells = os.environ.get(
            "RIMWORK_CACHE", str(self.folder().parent / "cells")
        )  # of the tests, where these build the site
        own = {"PYTHONPATH": str(REPOSITORY), "RIMWORK_CACHE": cells}
        given = {"cwd": self.folder(), "env": {**os.environ, **QUIET, **own}, "encoding": "utf-8", "timeout": LIMIT}
        done = subprocess.run([sys.executable, *arguments], capture_output=True, **given)
        expected = self.options.get("status", 0)
        if done.returncode != expected:
            raise self.fault(f"exit status {done.returncode}, expected {expected}:\n{done.stdout}{done.stderr}")
        lines = (done.stderr if expected else done.stdout).strip("\n").splitlines()
        lines = [part for line in lines for part in folded(line)]
        most = self.options.get("lines", len(lines))
        return [block("\n".join(lines[:most] + ["…"] * (len(lines) > most)), "text")] if lines else []


class File(Executed):
    """Writes its content under a name into the scratch folder and shows it; without content, fetches an example sheet."""

    required_arguments = 1

    def run(self):
        path = self.folder() / self.arguments[0]
        if not self.content:
            shutil.copy(REPOSITORY / "meshes" / "bodies" / path.name, path)
            return []
        path.write_text("\n".join(self.content) + "\n", encoding="utf-8")
        return [block("\n".join(self.content), "toml" if path.suffix == ".toml" else "text")]


class Shot(Executed):
    """A picture that an example above has drawn; option `alt`."""

    required_arguments = 1
    option_spec = {"alt": directives.unchanged_required, "width": directives.length_or_percentage_or_unitless}

    def run(self):
        path, page = self.folder() / self.arguments[0], Path(self.env.doc2path(self.env.docname)).parent
        if not path.is_file() or "alt" not in self.options:
            raise self.fault(f"{path.name}: no such picture, or no alt text")
        return [nodes.image(uri=os.path.relpath(path, page).replace(os.sep, "/"), **self.options)]


def setup(app):
    for name, directive in {"run": Run, "file": File, "shot": Shot}.items():
        app.add_directive(name, directive)
    app.connect(
        "env-purge-doc", lambda app, env, page: shutil.rmtree(folder_of(env.doctreedir, page), ignore_errors=True)
    )
    return {"parallel_read_safe": True}
