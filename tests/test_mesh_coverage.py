"""How often the printed mesh error holds the true one: what is kept of twelve sheets, and a small part of it anew."""

import json

import mesh_coverage as coverage
import numpy as np
import pytest

from fem.model import assemble
from fem.richer import quartic
from meshes.build import mesh_body
from meshes.open_rim import mesh_open_rim
from studies.common.builds import builds, complete_linings
from studies.solved.dry import SPARE, solve_dry, solve_richer

KEPT = json.loads(coverage.KEPT.read_text())
ONE = "linnet"  # the sheet of which a part is solved anew


@pytest.fixture(scope="module")
def body():
    return complete_linings(coverage.sheet(ONE))[0]


def cases(names, change):
    return [c for name in names for c in coverage.judged(KEPT, name) if c.change == change and np.isfinite(c.printed)]


# --- what is kept ---


def test_the_estimate_is_proven_on_other_sheets_than_it_was_chosen_on():
    assert KEPT.keys() == {*coverage.CHOSEN_ON, *coverage.PROVEN_ON} and len(coverage.PROVEN_ON) >= 8
    assert not {*coverage.CHOSEN_ON} & {*coverage.PROVEN_ON}
    assert all(KEPT[name]["made"]["size_mm"] == 1e3 * coverage.SIZE for name in KEPT)


def test_printed_errors_of_the_sheets_own_build_hold_the_true_ones():
    """On the sheets that had no part in choosing the estimate; what is printed is no more than three times what it holds."""
    proven = cases(coverage.PROVEN_ON, change=False)
    assert coverage.held(proven) >= 0.95 and coverage.wide(proven) <= 3
    assert np.mean([c.inside_before for c in proven]) < 0.6  # twice the difference of two sizes


def test_printed_errors_of_build_minus_sheet_hold_the_true_ones():
    proven = cases(coverage.PROVEN_ON, change=True)
    assert coverage.held(proven) >= 0.95 and coverage.wide(proven) <= 4


def test_few_figures_are_not_determined():
    every = [c for name in coverage.PROVEN_ON for c in coverage.judged(KEPT, name)]
    assert np.mean([np.isnan(c.printed) for c in every]) < 0.1


def test_the_page_tells_what_is_kept():
    page = coverage.PAGE.read_text(encoding="utf-8")
    assert coverage.with_table(page, KEPT) == page


# --- anew ---


def test_the_open_rim_solved_anew(body):
    """Squeezes on all meshes, the references' too: the printed errors hold the true ones of today's program."""
    pair = builds(body)[:1]
    size, mesh = 4 / 3 * coverage.SIZE, mesh_open_rim
    levels = {
        "fine": (mesh(body, size), 3), "richer": (mesh(body, size), 4), "faceted": (mesh(body, size, 2), 4),
        "half": (mesh(body, size / 2), 3), "third": (mesh(body, size / 3), 3),
    }  # fmt: skip
    found = {level: coverage.squeezes(pair, body, *at)["sheet"] for level, at in levels.items()}
    inside = []
    for press in found["fine"]:
        values = {level: found[level][press] for level in levels}
        true, unsure = coverage.reference(values["half"], values["third"])
        off, printed = abs(values["fine"] - true), coverage.printed_of(values)
        assert printed < 0.5 * values["fine"]
        inside.append(off <= printed + unsure)
    assert np.mean(inside) >= 0.85 and len(inside) >= 7


def test_printed_errors_of_frequencies_found_anew(body):
    """The three spaces of one sheet: frequencies fall from the cubic to the richer one, the printed errors are as kept."""
    build, cubic = builds(body)[0], assemble(mesh_body(body, coverage.SIZE))
    fine = solve_dry(build, cubic, 6 + SPARE)
    richer = solve_richer(build, quartic(cubic.space.mesh), cubic.space, fine.found)
    few = [row.found.frequency[:6] for row in (fine, richer)]
    assert (few[1] < few[0]).all()
    kept = KEPT[ONE]["sheet"]
    before = np.array(kept["fine"]["frequency"][:6]) - kept["richer"]["frequency"][:6]
    assert np.median((few[0] - few[1]) / before) == pytest.approx(1, abs=0.25)
