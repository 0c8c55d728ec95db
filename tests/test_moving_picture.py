"""Moving pictures: loops without a jump, small files, pluck from rest to rest; the command that writes them all."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import box_cases
import numpy as np
import pytest
from PIL import Image, ImageChops

import meshes
from fem.body_modes import BodyModes
from fem.coupled_string import couple, energy, pluck_note
from fem.elements import space
from fem.strings import Pluck, String
from meshes.build import mesh_body
from meshes.coupled_model import fluid_domain
from meshes.sheet import read_sheet
from studies.common import system_check
from studies.common.inputs import BadInput
from studies.drawing import moving as moving_picture
from studies.drawing import perspective
from studies.drawing.captions import Caption
from studies.drawing.mode_pictures import Shapes, modes_to_draw
from studies.drawing.moving import (
    LARGEST,
    PLUCK_FRAMES,
    PLUCK_TIME,
    Reel,
    parts_of_period,
    pluck_shapes,
    pluck_times,
    positions,
    save_reel,
)
from studies.pictures import question as picture_set
from studies.pictures.question import Wanted

QUIET = SimpleNamespace(say=lambda *a: None, step=lambda *a: None)
HAZEL = Path(meshes.__file__).parent / "bodies" / "hazel.toml"


@pytest.fixture(scope="module")
def guitar():
    """Body, Space on a coarse mesh, and one made-up shape: the top's bass half out, treble half in."""
    body = read_sheet(HAZEL)
    V = space(mesh_body(body, 0.06))
    x, y, z = V.points.T
    full = np.zeros((len(x), 6))
    full[:, 2] = np.where((z > -0.02) & (x < body.outline.length), y, 0.0)
    return body, V, full.reshape(-1, 1)


@pytest.fixture
def without_opengl(monkeypatch):
    monkeypatch.setattr(perspective, "FINER", 1)
    monkeypatch.setattr(system_check, "works", lambda name: system_check.Check(name, False, (), "not tried"))


def ringing():
    """A string on one body mode of 200 Hz."""
    string = String("a", 0.65, 70.0, 5e-3, loss_friction=2e-3)
    body = BodyModes(2 * np.pi * np.array([200.0]), {"top": np.array([0.02 * (2 * np.pi * 200) ** 2])},
                     np.full((1, 1, 3), 2.0), np.zeros((1, 1, 3)), valid_to=1000.0)  # fmt: skip
    return pluck_note(couple(string, 0, 0, body), Pluck())


# --- loops ---


def test_one_period_ends_where_it_began():
    """Frame N would be frame 0, and the step across the join is no larger than those inside."""
    parts = parts_of_period()
    assert len(parts) == 24 and parts[0] == 1 and parts[12] == pytest.approx(-1)
    assert np.cos(2 * np.pi * 24 / 24) == pytest.approx(parts[0])
    assert abs(parts[0] - parts[-1]) <= np.abs(np.diff(parts)).max()
    assert parts.sum() == pytest.approx(0, abs=1e-12)  # no picture twice at the join


def test_pictures_of_a_mode_loop(guitar, without_opengl, monkeypatch):
    monkeypatch.setattr(moving_picture, "FRAMES", 8)
    body, V, shape = guitar
    shapes = Shapes(V, body, [100.0], shape)
    (mode,) = modes_to_draw(shapes, 1)
    reels, _ = moving_picture.mode_reels(shapes, mode)
    different = lambda a, b: np.asarray(ImageChops.difference(a, b), float).mean()
    for reel in reels.values():
        shots = reel.pictures
        steps = [different(a, b) for a, b in zip(shots, (*shots[1:], shots[0]))]
        assert len(shots) == 8 and steps[-1] == pytest.approx(steps[0])  # the step over the join is that of the way out
        assert different(shots[1], shots[7]) == 0  # the way back shows the pictures of the way out
        assert different(shots[0], shots[4]) > 2 * max(steps) / 3
    left, right = (np.asarray(reels["plan"].pictures[k], float)[:, :60].mean() for k in (0, 4))
    assert left > right + 5  # first the bass half is outward, light, then inward


def test_a_pluck_starts_from_rest_and_is_faded_to_rest():
    r = ringing()
    motion = pluck_shapes(r, np.array([[2.0], [0.5]]))
    most = np.abs(motion).max()
    assert np.abs(motion[:, 0]).max() < 1e-6 * most and np.abs(motion[:, -1]).max() < 1e-9 * most
    assert np.abs(motion[:, -2]).max() < 0.02 * most
    assert motion[0] == pytest.approx(4 * motion[1])
    t, shown = pluck_times()
    assert t[-1] == PLUCK_TIME and shown[0] == shown[PLUCK_FRAMES // 2] == 1 and (np.diff(shown) <= 0).all()


def test_positions_belong_to_the_ringings_energy():
    """At release all energy is in the string's shape, 1/2 q'Kq; later potential and moving energy share it."""
    r = ringing()
    K = r.coupled.K
    q = positions(r, np.array([0.0, 0.003]))
    stored = 0.5 * np.einsum("it,ij,jt->t", q, K, q)
    assert stored[0] == pytest.approx(r.energy, rel=1e-9)
    assert stored[1] < energy(r, [0.003])[0]


# --- files ---


def test_a_gif_loops_for_ever_with_one_palette_and_its_own_speed(tmp_path):
    pictures = tuple(Image.new("RGB", (60, 40), (20 * k, 90, 120)) for k in range(5))
    path = save_reel(Reel(pictures, 0.05), tmp_path / "five")[0]
    with Image.open(path) as gif:
        assert gif.n_frames == 5 and gif.info["loop"] == 0 and gif.info["duration"] == 50


def test_a_gif_too_large_is_made_smaller(tmp_path, monkeypatch):
    rng = np.random.default_rng(2)
    noise = tuple(Image.fromarray(rng.integers(0, 255, (120, 160, 3), np.uint8)) for _ in range(6))
    monkeypatch.setattr(moving_picture, "LARGEST", 60_000)
    path = save_reel(Reel(noise, 0.1), tmp_path / "noise")[0]
    assert path.stat().st_size <= 60_000 < LARGEST
    assert Image.open(path).width < 160


def test_strong_colours_keep_a_place_in_the_palette():
    """A speck of the darkest blue on much grey stays blue."""
    picture = Image.new("RGB", (200, 200), (147, 146, 142))
    picture.paste((5, 62, 144), (0, 0, 3, 3))
    palette = moving_picture._palette([picture])
    back = picture.quantize(palette=palette, dither=Image.Dither.NONE).convert("RGB")
    assert np.abs(np.subtract(back.getpixel((1, 1)), (5, 62, 144))).max() <= 3


def test_without_ffmpeg_it_is_said(monkeypatch, tmp_path):
    monkeypatch.setattr(moving_picture.shutil, "which", lambda name: None)
    assert [p.suffix for p in save_reel(Reel((Image.new("RGB", (8, 8)),) * 2, 0.1), tmp_path / "x")] == [".gif"]
    assert "ffmpeg" in picture_set._told([], tmp_path, moving=True)


def test_captions_tell_how_slow(guitar, without_opengl, tmp_path, monkeypatch):
    body, V, shape = guitar
    monkeypatch.setattr(moving_picture, "FRAMES", 4)
    shapes = Shapes(V, body, [100.0], shape)
    (mode,) = modes_to_draw(shapes, 1)
    paths = moving_picture.save_mode(shapes, mode, tmp_path, Caption("Hazel", mesh_error=[0.01]))
    words = next(p for p in paths if p.suffix == ".txt").read_text()
    assert (
        "120 times slower" in words
        and "1.0 %" in words
        and "dry" in words
        and "top rocks across its width (1, 2)" in words
    )
    assert all(p.stat().st_size < LARGEST for p in paths)


# --- the command ---


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """Two builds of Hazel, two modes, on a coarse mesh."""
    out = tmp_path_factory.mktemp("set")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(system_check, "works", lambda name: system_check.Check(name, False, (), "not tried"))
        patch.setattr(perspective, "FINER", 1)  # coarse, fast
        patch.setattr(picture_set, "dry_modes", lambda count: 12)
        told = picture_set.draw_pictures(HAZEL, out, 60, Wanted(3, 60, "svg"), ["doubled_sides"])
    return out, told


@pytest.mark.slow
def test_the_command_draws_each_build_and_both_side_by_side(drawn):
    out, told = drawn
    for build in ("sheet", "doubled_sides"):
        names = {p.name for p in (out / build).iterdir()}
        assert {"mode-01-plan.svg", "mode-03-plan.txt", "modes-contact-sheet.txt", "mode-03-perspective.png"} <= names
    assert (out / "builds-side-by-side.svg").exists() and "side-by-side" in told
    words = (out / "doubled_sides" / "mode-03-plan.txt").read_text()
    assert "doubled sides" in words and "mode 3 of the sheet's own" in words and "mesh error about" in words
    assert "Hazel, doubled sides" in (out / "doubled_sides" / "modes-contact-sheet.txt").read_text()


@pytest.mark.slow
def test_builds_come_out_with_one_sign_and_one_scale(drawn, monkeypatch):
    """Solved rows: a paired mode of another build points the same way and has the base's full colour."""
    out, _ = drawn
    monkeypatch.setattr(picture_set, "dry_modes", lambda count: 12)
    body = picture_set.complete_linings(read_sheet(HAZEL))[0]
    chosen = picture_set.chosen_builds(body, ["doubled_sides"])

    own, other = picture_set._dry(body, chosen, 0.06, 3, out / "rows", QUIET, None)
    for sign in (1, -1):
        first = modes_to_draw(own.shapes, 3)
        second = modes_to_draw(replace(other.shapes, shape=sign * other.shapes.shape), 3)
        for a, b in zip(first, second):
            assert a.number == b.number and b.motion.largest == pytest.approx(a.motion.largest, rel=1e-9)
            apart = sum(np.sum(a.motion.fields[n].value * b.motion.fields[n].value) for n in a.motion.fields)
            norms = np.prod([np.sqrt(sum(np.sum(f.value**2) for f in m.motion.fields.values())) for m in (a, b)])
            assert apart > 0.6 * norms


@pytest.mark.slow
def test_a_dry_pluck_moves_the_body_a_few_micrometres(drawn, monkeypatch):
    out, _ = drawn
    monkeypatch.setattr(picture_set, "dry_modes", lambda count: 12)
    body = picture_set.complete_linings(read_sheet(HAZEL))[0]

    (own,) = picture_set._dry(body, picture_set.chosen_builds(body, []), 0.06, 3, out / "rows", QUIET, None)
    motion, words = own.pluck()
    assert motion.shape == (len(own.shapes.shape), moving_picture.PLUCK_FRAMES)
    assert 1e-7 < np.abs(motion.reshape(-1, 6, motion.shape[1])[:, :3]).max() < 2e-4
    assert "82 Hz" in words and "without air" in words


@pytest.mark.slow
def test_print_pictures_with_air_are_made_here(tmp_path, monkeypatch):
    """What the pages of the rim study show with air, in the format asked for, with captions, of the builds named."""
    monkeypatch.setattr(system_check, "works", lambda name: system_check.Check(name, False, (), "not tried"))
    monkeypatch.setattr(perspective, "FINER", 1)
    monkeypatch.setattr(picture_set, "dry_modes", lambda count: 14)
    coarse = lambda body: fluid_domain(body, 300.0, 0.06, 0.09)
    wanted = Wanted(3, 60, "pdf", air=True)
    sheet = box_cases.oval_sheet(tmp_path)
    told = picture_set.draw_pictures(sheet, tmp_path / "out", 60, wanted, ["doubled_sides"], around=coarse)
    kinds = [f"{kind}-{how}" for kind in ("power", "overlay") for how in ("hung-free", "on-the-lap")]
    drawn = {p.name for p in (tmp_path / "out").iterdir() if p.is_file()}
    modes = {name for name in drawn if name.startswith("air-mode-")}
    assert {f"{kind}{end}" for kind in kinds for end in (".pdf", ".txt")} <= drawn
    assert modes and {Path(name).suffix for name in modes} == {".pdf", ".txt"}
    assert (tmp_path / "out" / "doubled_sides" / "mode-01-plan.pdf").exists()
    assert "with air" in (tmp_path / "out" / "power-hung-free.txt").read_text() and "pdf" in told
    on_lap = replace(wanted, count=2, held="lap")
    picture_set.draw_pictures(sheet, tmp_path / "out", 60, on_lap, around=coarse)
    told = {d: (tmp_path / "out" / d / "mode-01-plan.txt").read_text() for d in ("sheet", "sheet-on-the-lap")}
    assert "hung free" in told["sheet"] and "on the lap" in told["sheet-on-the-lap"]
    assert told["sheet"].split("Hz")[0] != told["sheet-on-the-lap"].split("Hz")[0]  # other modes, not another caption


@pytest.mark.parametrize(
    ("given", "words"),
    [({"wanted": Wanted(form="gif")}, "png, svg, pdf"), ({"wanted": Wanted(count=0)}, "between 1 and 40"),
     ({"size_mm": 2}, "between 5 and 60 mm"), ({"wanted": Wanted(width_mm=1e4)}, "20 and 400 mm"), ({"names": ["doubled"]}, "doubled_sides"),
     ({"wanted": Wanted(held="bed")}, "'free' or 'lap'"), ({"wanted": Wanted(held="lap")}, "expected --air beside it")],
)  # fmt: skip
def test_bad_input_is_told_before_any_work(given, words, tmp_path):
    with pytest.raises(BadInput, match=words):
        picture_set.draw_pictures(HAZEL, tmp_path, **given)
