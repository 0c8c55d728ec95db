"""Workshop steps: what a plane, a scraper or another board changes in a body, and the same step the other way."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from fem.sections import Section
from meshes import parts
from meshes.body import Board, Body, Brace, Lining

PLATE, BRACE, BRIDGE, SIDE, LINING, HOLE, WOOD = (
    1e-4,
    1e-3,
    1e-3,
    1e-4,
    1e-3,
    1e-3,
    0.1,
)  # m, m, kg, m, m, m of radius, share


@dataclass(frozen=True)
class Step:
    """One step on a body and its opposite."""

    key: str
    words: str
    there: Body
    back: Body
    remesh: bool = False  # whether the mesh changes with it
    only: Callable[[Body], dict[str, Section]] | None = None  # sections of all that it changes; None: of anything

    def sections(self, own: dict[str, Section], body: Body) -> dict[str, Section]:
        """{region: Section} of one of its bodies; own: of the sheet's. Joints and blocks take long: only where they may change."""
        return parts.sections(body) if self.only is None else own | self.only(body)


def steps(body: Body) -> Iterator[Step]:
    """Every Step of a body."""
    step = lambda key, words, of, remesh=False, only=None: Step(key, words, of(1.0), of(-1.0), remesh, only)
    for plate in ("top", "back"):
        yield step(f"{plate}_thickness", f"{plate} {1e3 * PLATE:g} mm thinner all over", _board(body, plate, thinner))
    for k, brace in enumerate(body.braces):
        yield step(
            f"brace_{k + 1}",
            f"{brace.name}: {1e3 * BRACE:g} mm lower, all in proportion",
            _brace(body, k),
            only=parts.braces,
        )
    yield step("bridge_mass", f"bridge {1e3 * BRIDGE:g} g heavier", lambda s: _bridge(body, s), only=parts.bridge)
    yield step("sides", f"sides {1e3 * SIDE:g} mm thinner", lambda s: _sides(body, s))
    for key, words in (("height", "lower"), ("width", "narrower")):
        yield step(f"lining_{key}", f"linings {1e3 * LINING:g} mm {words}", _linings(body, key))
    yield step("hole", f"soundhole {2e3 * HOLE:g} mm wider", lambda s: _hole(body, s), True)
    for plate in ("top", "back"):
        for field, words in (("E_L", "stiffness along"), ("E_R", "stiffness across"), ("density", "density")):
            yield step(
                f"{plate}_{field}", f"{plate}: {100 * WOOD:g} % less {words}", _board(body, plate, other_wood(field))
            )


def thinner(board: Board, sign: float) -> Board:
    """A board PLATE thinner, everywhere in proportion."""
    times = 1 - sign * PLATE / board.thickness
    edge = None if board.edge_thickness is None else times * board.edge_thickness
    places = tuple((x, y, times * t) for x, y, t in board.thickness_map)
    return replace(board, thickness=times * board.thickness, edge_thickness=edge, thickness_map=places)


def other_wood(field: str) -> Callable[[Board, float], Board]:
    """Function (board, sign) -> the board with a constant of its wood WOOD less."""
    return lambda board, sign: replace(
        board, wood=replace(board.wood, **{field: (1 - sign * WOOD) * getattr(board.wood, field)})
    )


def _board(body: Body, plate: str, change: Callable[[Board, float], Board]) -> Callable[[float], Body]:
    if plate == "top":
        return lambda sign: replace(body, top=change(body.top, sign))
    return lambda sign: replace(body, back=change(body.back, sign))


def _brace(body: Body, k: int) -> Callable[[float], Body]:
    return lambda sign: replace(body, braces=(*body.braces[:k], lower(body.braces[k], sign), *body.braces[k + 1 :]))


def lower(brace: Brace, sign: float) -> Brace:
    """A brace BRACE lower where it is highest, everywhere in proportion."""
    times = 1 - sign * BRACE / brace.height
    end = lambda e: replace(e, height=times * e.height)
    profile = tuple((at, times * h) for at, h in brace.heights)
    return replace(
        brace, height=times * brace.height, heights=profile, at_start=end(brace.at_start), at_end=end(brace.at_end)
    )


def _bridge(body, sign):
    b = body.bridge
    more = sign * BRIDGE / (b.length * b.width * b.thickness)
    return replace(body, bridge=replace(b, wood=replace(b.wood, density=b.wood.density + more)))


def _sides(body, sign):
    outer, *inner = body.sides
    return replace(body, sides=(replace(outer, thickness=outer.thickness - sign * SIDE), *inner))


def _linings(body: Body, key: str) -> Callable[[float], Body]:
    def smaller(lining: Lining, sign: float) -> Lining:
        return lining if lining.kind == "none" else replace(lining, **{key: getattr(lining, key) - sign * LINING})

    return lambda sign: replace(
        body, lining_top=smaller(body.lining_top, sign), lining_back=smaller(body.lining_back, sign)
    )


def _hole(body, sign):
    hole = body.soundhole
    return replace(body, soundhole=replace(hole, radius=hole.radius + sign * HOLE))
