"""Common slips of a build sheet that can be built all the same: told as warnings. What is usual is common practice, no source."""

import numpy as np

from meshes.body import Body, Brace

# of the bridge plate's width along the body: a brace that runs over so much of it does more than cut a corner
THROUGH = 0.8
ALONGSIDE = 15.0  # degrees from square to the centre line within which a brace runs along the bridge
FLAT = 2.0  # times as wide as high: a brace that lies flat, or two numbers exchanged
STEPS = 400  # along a brace


def warnings(body: Body) -> list[str]:
    """Warnings (texts) about braces and bridge."""
    texts = []
    for brace in body.braces:
        if brace.width > 1.001 * FLAT * brace.height:  # round-off of inches
            size = f"{1e3 * brace.width:g} mm wide and {1e3 * brace.height:g} mm high"
            texts.append(f"brace '{brace.name}' is {size}: does it lie flat, or are the two exchanged?")
        if brace.plate == "top":
            texts += [text for text in (_through_the_plate(body, brace), _along_the_edge(body, brace)) if text]
    return texts


def _places(brace: Brace) -> tuple[np.ndarray, float]:
    """(STEPS, 2) m along the brace's middle line, and its length [m]."""
    start, end = np.array(brace.start), np.array(brace.end)
    return start + (np.arange(STEPS)[:, None] + 0.5) / STEPS * (end - start), float(np.linalg.norm(end - start))


def _through_the_plate(body: Body, brace: Brace) -> str:
    """Words about a brace that runs over the bridge plate; empty where it keeps clear of it or cuts a corner."""
    plate = body.bridge_plate
    if plate is None:
        return ""
    places, length = _places(brace)
    over = np.abs(places - plate.centre) < [plate.width / 2, plate.length / 2]
    run = length * over.all(1).mean()
    if run < THROUGH * plate.width:
        return ""
    return (
        f"brace '{brace.name}' runs over the bridge plate for {1e3 * run:.0f} mm; both are computed there, one on the other: "
        "does it end at the plate?"
    )


def _along_the_edge(body: Body, brace: Brace) -> str:
    """Words about a brace that runs along under an edge of the bridge; empty for others."""
    bridge, along = body.bridge, np.subtract(brace.end, brace.start)
    if np.degrees(np.arctan2(abs(along[0]), abs(along[1]))) > ALONGSIDE:
        return ""
    places, length = _places(brace)
    x, y = (places - bridge.centre).T
    at_edge = (np.abs(np.abs(x) - bridge.width / 2) < brace.width / 2) & (np.abs(y) < bridge.length / 2)
    run = length * at_edge.mean()
    if run < bridge.length / 4:
        return ""
    return f"brace '{brace.name}' lies under the bridge's edge for {1e3 * run:.0f} mm: is that meant?"
