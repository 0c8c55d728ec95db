"""The documentation: its examples run, its links and files exist, its commands are those of the program, its dossier is whole."""

import json
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import dossier
import pytest

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.glob("*.md")), *sorted(DOCS.glob("howto/*.md"))]
IN_SITE = [page for page in PAGES if page.parent != ROOT]


def ids(page):
    return str(page.relative_to(ROOT))


# --- what the pages name ---


@pytest.mark.parametrize("page", PAGES, ids=ids)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", page.read_text(encoding="utf-8")):
        assert re.match(r"https?://", target) or (page.parent / target).exists(), target


@pytest.mark.parametrize("page", PAGES, ids=ids)
def test_files_named_exist(page):
    """Names in backquotes that start with a folder of the repository."""
    for name in re.findall(r"`((?:fem|meshes|studies|tests|docs|\.ci)/[\w./*-]*)`", page.read_text(encoding="utf-8")):
        assert list(ROOT.glob(name)), name


def test_every_page_is_in_the_site():
    listed = set(re.findall(r"^(?:[^\n<]+<)?([a-z_/]+)>?$", (DOCS / "index.md").read_text(encoding="utf-8"), re.M))
    assert listed == {str(p.relative_to(DOCS).with_suffix("")) for p in IN_SITE} - {"index"}


@pytest.mark.parametrize("page", PAGES, ids=ids)
def test_commands_and_options_exist(page):
    """Every `rimwork COMMAND` is one of the program, and each of its options is one of that command."""
    from studies.__main__ import app

    commands = {name for name in app if not name.startswith("-")}
    text = page.read_text(encoding="utf-8").replace("\\\n", " ")
    for line in re.findall(r"\brimwork ([a-z][a-z-]*(?: [^`\n]*)?)", text):
        words = re.split(r"#|, | \(| ```", line)[0].split()
        if words[0] not in commands:
            assert not re.search(rf"`rimwork {words[0]}|^\s*(?:uv run )?rimwork {words[0]}", text, re.M), line
            continue
        options = {o for a in app[words[0]].assemble_argument_collection() for o in a.names}
        for option in (w for w in words if w.startswith("--")):
            assert option.split("=")[0] in options, f"{words[0]} {option}"


# --- the dossier ---

ROWS = [
    {"file": "test_beams.py", "case": "a|b", "source": "a book", "reference": [2.0, 4.0], "computed": [2.0, 4.1], "unit": "Hz"},
    {"file": "test_new.py", "case": "zero", "source": "exact", "reference": [0.0], "computed": [3e-9], "unit": "Hz"},
]  # fmt: skip


def test_dossier_table():
    """Largest error of a row, relative where the reference is not 0; unknown files come last under their own name."""
    table = dossier.table(ROWS)
    assert f"| a\\|b | a book | 2, 4 Hz | 2, 4.1 | 2.5{dossier.THIN}% |" in table
    assert "| zero | exact | 0 Hz | 3e-09 | 3.0e-09 Hz |" in table
    assert table.index("### Beams") < table.index("### test_new.py")


def test_dossier_replaces_only_what_is_between_its_marks():
    page = f"above\n{dossier.BEGIN}\nold\n{dossier.END}\nbelow\n"
    once = dossier.rendered(page, ROWS)
    assert once.startswith("above\n") and once.endswith("\nbelow\n") and "old" not in once
    assert dossier.rendered(once, ROWS) == once


def test_every_published_value_is_in_the_dossier(literature):
    page = dossier.PAGE.read_text(encoding="utf-8")
    missing = [name for name, case in literature.items() if case["source"].replace("|", "\\|") not in page]
    assert not missing


def recorded_by(folder, out, workers, *files):
    """The finished process of pytest on some files of a folder, what they record written to `out`."""
    options = ["-p", "no:cacheprovider", "-n", workers, "--dossier", str(out)]
    return subprocess.run(
        [sys.executable, "-m", "pytest", *options, *files], cwd=folder, capture_output=True, text=True
    )


@pytest.mark.parametrize("workers", ["0", "2"])
def test_what_tests_record_reaches_the_file(tmp_path, workers):
    """Also from the processes of pytest-xdist; a test that fails leaves no line, and lists must match."""
    (tmp_path / "conftest.py").write_text((ROOT / "tests" / "conftest.py").read_text(encoding="utf-8"))
    (tmp_path / "test_one.py").write_text(
        "import pytest\n"
        "@pytest.mark.parametrize('i', range(4))\n"
        "def test_good(i, record):\n    record(f'case {i}', 'a book', [1, 2], [1, i], 'Hz')\n"
        "def test_bad(record):\n    record('bad', 'a book', 1, 2)\n    assert False\n"
        "def test_unequal(record):\n    record('unequal', 'a book', [1, 2], [1])\n"
    )
    done = recorded_by(tmp_path, "d.json", workers, "test_one.py")
    assert "2 failed, 4 passed" in done.stdout, done.stdout + done.stderr
    rows = json.loads((tmp_path / "d.json").read_text())
    assert [row["case"] for row in rows] == [f"case {i}" for i in range(4)]
    assert rows[3] == {
        "file": "test_one.py", "case": "case 3", "source": "a book", "reference": [1, 2], "computed": [1, 3], "unit": "Hz",
    }  # fmt: skip


def test_the_dossier_is_what_the_tests_compute(tmp_path):
    """A sample of it, renewed: the same lines; computed numbers to 0.1 %, for other machines round otherwise."""
    files = ["tests/test_string_sets.py", "tests/test_eigen.py", "tests/test_fretboard.py"]
    done = recorded_by(ROOT, tmp_path / "d", "0", *files)
    assert done.returncode == 0, done.stdout
    numbers = lambda cell: [float(x) for x in re.findall(r"[-\d.]+(?:e-?\d+)?", cell.split("…")[0])]
    cells = lambda line: [cell.strip() for cell in line.strip("|").split(" | ")]
    lines = dossier.table(json.loads((tmp_path / "d").read_text(encoding="utf-8"))).splitlines()
    page = [cells(x) for x in dossier.PAGE.read_text(encoding="utf-8").splitlines() if x.startswith("| ")]
    renewed = [cells(x) for x in lines if x.startswith("| ") and not x.startswith("| case")]
    assert len(renewed) >= 5
    for case, source, reference, computed, _ in renewed:
        (kept,) = [row for row in page if row[:3] == [case, source, reference]]
        assert numbers(kept[3]) == pytest.approx(numbers(computed), rel=1e-3)


# --- the extension and the site ---


@pytest.fixture
def built(tmp_path):
    """built(text) -> HTML of a page of a site that has this one only."""
    pytest.importorskip("sphinx"), pytest.importorskip("myst_parser")
    from sphinx.application import Sphinx

    def build(text):
        source = tmp_path / "source"
        source.mkdir(exist_ok=True)
        (source / "index.md").write_text(text, encoding="utf-8")
        (source / "conf.py").write_text(
            f"import sys\nsys.path.insert(0, {str(DOCS / '_ext')!r})\nextensions = ['myst_parser', 'executed']\n"
        )
        out = tmp_path / "out"
        log = SimpleNamespace(write=lambda text: None, flush=lambda: None)
        app = Sphinx(source, source, out, out / "trees", "html", status=None, warning=log, freshenv=True)
        app.build()
        return re.sub(r"<[^>]+>", "", (out / "index.html").read_text(encoding="utf-8")), app

    return build


def test_snippets_run_in_one_folder_and_show_what_they_print(built):
    html, app = built(
        "# A page\n\n```{file} numbers.txt\n7\n```\n\n```{run}\nn = int(open('numbers.txt').read())\nprint('six times', n, 'is', 6 * n)\n```\n"
    )
    assert "six times 7 is 42" in html
    assert (Path(app.doctreedir) / "scratch" / "index" / "numbers.txt").is_file()


def test_output_is_cut_with_a_mark(built):
    html, _ = built("# A page\n\n```{run}\n:lines: 2\nfor i in range(9): print('row', i)\n```\n")
    assert "row 0\nrow 1\n…" in html and "row 2" not in html


@pytest.mark.parametrize(
    ("example", "words"),
    [
        ("```{run}\nprint(1 / 0)\n```", "ZeroDivisionError"),
        ("```{run}\nrimwork check nowhere.toml\n```", "exit status 2, expected 0"),
        ("```{run}\n:status: 2\nprint('fine')\n```", "exit status 0, expected 2"),
        ("```{shot} none.png\n:alt: nothing\n```", "no such picture"),
    ],
)
def test_an_example_that_fails_stops_the_build(built, example, words):
    from sphinx.errors import SphinxError

    with pytest.raises(SphinxError, match=words):
        built(f"# A page\n\n{example}\n")


@pytest.mark.slow
@pytest.mark.timeout(1500)
def test_the_site_builds_without_a_warning(tmp_path):
    """Every example of every page runs; about two minutes of processor time."""
    pytest.importorskip("sphinx"), pytest.importorskip("myst_parser")
    command = [sys.executable, "-m", "sphinx", "-W", "-q", "-j", "auto", str(DOCS), str(tmp_path / "site")]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-3000:]
    for page in IN_SITE:
        html = (tmp_path / "site" / page.relative_to(DOCS)).with_suffix(".html").read_text(encoding="utf-8")
        for picture in re.findall(r'<img[^>]* src="([^"]+)"', html):
            assert (tmp_path / "site" / page.relative_to(DOCS).parent / picture).is_file(), picture
