"""What `check` weighs is what the model moves: a block by its box, and by the mesh of the rim behind it and its section."""

import box_cases as cases
import pytest

from fem.energies import masses
from fem.model import assemble
from meshes import describe
from meshes.build import mesh_body
from meshes.parts import block_layers


@pytest.mark.parametrize(
    ("end", "width"), [("neck_block", 80), ("neck_block", 250), ("tail_block", 80), ("tail_block", 120)]
)
def test_a_block_weighs_what_check_says(end, width):
    """A rim bent behind the block is longer than the block is wide; a waist as narrow as the block is not behind it."""
    body = cases.guitar(**{end: {"width_mm": width}})
    layers = block_layers(body)
    regions = {f"{end}/{edge}": layers[f"{end}/sides"] for edge in ("edge", "edge_top", "edge_back")}
    moved = masses(assemble(mesh_body(body, 0.06)), layers | regions)
    assert moved[end] == pytest.approx(describe.masses(body)[end], rel=0.005)
