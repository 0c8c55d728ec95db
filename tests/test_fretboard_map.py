"""Fretboard maps: where notes lie, how they are coloured, what is greyed and framed; names of notes."""

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from fem.fretboard import Wolf
from fem.strings import fundamental
from meshes.string_sets import string_set
from studies.common.note_names import pitch, read_note, read_place, short_name
from studies.drawing.sheet import SCALE, save_with_caption
from studies.sustain.maps import (
    DECAY,
    DISSIPATED,
    GREY,
    INLAYS,
    RATIO,
    Board,
    board_of,
    fret_edges,
    map_figure,
    mark_words,
    scale_ends,
    scale_marks,
    shade,
)

STRINGS = string_set("steel").strings
NAMES = tuple(s.name for s in STRINGS)
FREQUENCY = np.array([[fundamental(s, fret) for fret in range(13)] for s in STRINGS])


@pytest.fixture(scope="module")
def board():
    return Board(NAMES, FREQUENCY, FREQUENCY < 500.0, 500.0, frozenset({(1, 3), (5, 12)}))


def cells(figure):
    """{(column from the left, row from below): face colour} of the filled cells, by their places on the page."""
    patches = [p for p in figure.axes[0].patches if p.get_facecolor()[3] > 0 and p.get_height() == pytest.approx(7.6)]
    left, base = (sorted({round(v, 3) for v in at}) for at in zip(*((p.get_x(), p.get_y()) for p in patches)))
    return {(left.index(round(p.get_x(), 3)), base.index(round(p.get_y(), 3))): p.get_facecolor()[:3] for p in patches}


def test_each_note_lies_on_its_string_and_fret(board):
    """The one long note lights up in column 5 of the second lowest row; the lowest string is below, the nut left."""
    values = np.where(board.valid, 1.0, np.nan)
    values[1, 5] = 8.0
    found = cells(map_figure(board, values, DECAY, "test", (1.0, 8.0)))
    assert len(found) == FREQUENCY.size
    assert found[5, 1] == pytest.approx(SCALE(1.0)[:3])
    assert [at for at, color in found.items() if color == pytest.approx(SCALE(1.0)[:3])] == [(5, 1)]


def test_notes_not_answered_for_are_grey_and_hatched(board):
    values = np.where(board.valid, 2.0, np.nan)
    figure = map_figure(board, values, DECAY, "test", (1.0, 4.0))
    grey = {at for at, color in cells(figure).items() if color == pytest.approx(to_rgb(GREY))}
    assert grey == {(fret, string) for string, fret in np.argwhere(~board.valid)} and grey
    words = [t.get_text() for t in figure.axes[0].texts]
    assert words.count("–") == len([at for at in grey if at[0] < 13])
    assert any("above 500 Hz" in w for w in words)
    assert sum(bool(p.get_hatch()) for p in figure.axes[0].patches) == len(grey) + 1  # and the key


def test_wolf_notes_are_framed_where_they_are_answered_for(board):
    figure = map_figure(board, np.where(board.valid, 2.0, np.nan), DECAY, "test", (1.0, 4.0))
    frames = [p for p in figure.axes[0].patches if p.get_linewidth() > 2]
    assert not board.valid[5, 12] and len(frames) == 1  # white under black, once
    wolf = Wolf(2, 4, 180.0, 181.0, 1.5, 2.0)
    fretboard = type("F", (), {"frequency": FREQUENCY, "valid": board.valid, "highest_valid": 500.0})
    assert board_of(STRINGS, fretboard, [wolf]).wolves == {(2, 4)}


def test_frets_stand_in_true_proportion():
    """Each fret is 2^(-1/12) of the one before; the twelfth halves the string."""
    edge = fret_edges(24, 20.0, 170.0)
    wide = np.diff(edge[1:])
    assert wide[1:] / wide[:-1] == pytest.approx(np.full(23, 2 ** (-1 / 12)))
    whole = (edge[-1] - edge[1]) / (1 - 2 ** (-24 / 12))
    assert edge[13] - edge[1] == pytest.approx(whole / 2)
    assert edge[-1] == pytest.approx(170.0)
    assert {3, 5, 7, 9, 12} < set(INLAYS)


def test_scales_are_even_and_ratios_lie_about_one():
    """A ratio and its inverse lie as far from the middle; the scale's grey rises evenly (see plan_picture)."""
    low, high = scale_ends(RATIO, np.array([0.93, 1.02, np.nan]))
    assert low * high == pytest.approx(1) and low <= 0.93
    assert shade(RATIO, np.array([1.0, 0.95]), (low, high)) + shade(
        RATIO, np.array([1.0, 1 / 0.95]), (low, high)
    ) == pytest.approx([1, 1])
    assert scale_ends(RATIO, np.array([1.0, 1.0]))[1] == pytest.approx(1.02)
    one_wild = np.append(np.full(99, 1.04), 3.0)
    ends = scale_ends(RATIO, one_wild)
    assert 1.04 <= ends[1] < 1.1
    told = mark_words(RATIO, ends, one_wild)
    assert told[-1].startswith("≥ ") and not told[0].startswith("≤") and told[2] == "1.00"
    assert scale_ends(DISSIPATED, np.array([3.0, 9.31])) == (0.0, pytest.approx(9.4))
    low, high = scale_ends(DECAY, np.array([0.512, 11.2]))
    assert 0.5 <= low <= 0.512 and 11.2 <= high <= 12
    assert scale_ends(DECAY, np.array([np.nan])) == (0.5, 2.0)
    grey = np.array([0.2126, 0.7152, 0.0722]) @ np.array([SCALE(x)[:3] for x in np.linspace(0, 1, 20)]).T
    assert (np.diff(grey) > 0).all()
    assert scale_marks(RATIO, (0.9, 1 / 0.9))[2] == pytest.approx(1.0) and len(scale_marks(DECAY, (1.0, 9.0))) == 5


def test_pictures_have_their_print_width_and_a_caption(tmp_path, board):
    """180 mm at 300 dpi: 2126 points across; SVG and PDF beside it."""
    from matplotlib.image import imread

    figure = map_figure(board, np.where(board.valid, 3.0, np.nan), DECAY, "Hazel", (1.0, 4.0))
    paths = save_with_caption(figure, tmp_path / "maps" / "decay", "A caption.", (".png", ".pdf", ".svg"))
    assert imread(paths[0]).shape[1] == pytest.approx(180 / 25.4 * 300, abs=1)
    assert {p.suffix for p in paths} == {".png", ".pdf", ".svg", ".txt"}
    assert paths[-1].read_text() == "A caption.\n"
    assert "Hazel" in (tmp_path / "maps" / "decay.svg").read_text()


def test_names_of_notes():
    """A4 = 440 Hz, twelve equal steps; by hand E2 82.41 Hz, B flat 2 116.54 Hz."""
    assert [short_name(f) for f in (82.41, 116.54, 440.0, 185.0, 329.6)] == ["E2", "B♭2", "A4", "F♯3", "E4"]
    assert pitch(read_note("E2")) == pytest.approx(82.407, abs=0.001)
    assert read_note("Bb2") == read_note("A#2") == read_note("a♯2") and read_note("Cb3") == read_note("B2")
    with pytest.raises(ValueError, match="such as E2"):
        read_note("E")


def test_places_on_the_fretboard():
    tuning = [fundamental(s) for s in STRINGS]
    assert read_place("E2", NAMES, tuning, 20) == (0, 0)
    assert read_place("D3+5", NAMES, tuning, 20) == (2, 5)
    assert read_place("C4", NAMES, tuning, 20) == (4, 1)  # the lowest fret that has it
    for wrong, told in (
        ("D1", "between E2 and C6"),
        ("D3+21", "no such place"),
        ("X+1", "such as E2.5"),
        ("H", "cannot be read"),
    ):
        with pytest.raises(ValueError, match=told):
            read_place(wrong, NAMES, tuning, 20)
