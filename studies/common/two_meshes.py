"""What two meshes of one body tell of the error that is left in a figure of the finer one."""

from meshes.parts import RIM

LIMIT = "stiff_limit"  # the build that cannot be built
COARSER = 1.5  # size of the second mesh over that of the first
MESH_ERROR = f"twice the difference of two mesh sizes 1 : {COARSER:g}, for first-order convergence"


def mesh_error(fine, coarse):
    """Error left in a value on the finer of two meshes: Richardson's estimate for an error that falls with the first power.

    Line braces and folded facets converge so, or better. Roache, J. Fluids Eng. 116:405 (1994).
    """
    return abs(fine - coarse) / (COARSER - 1)


def largest_errors(items):
    """{key: value} of every '..._error' in dicts of builds {'build': name, ...}, the largest over those that can be built.

    Two meshes may agree on one build by chance.
    """
    real = [item for item in items if item["build"] != LIMIT]
    kinds = [key for key in items[0] if key.endswith("_error")]
    return {key: max((i[key] for i in real if i[key] is not None), default=None) for key in kinds}


def rim_grams(row):
    """Weight of the rim [g] of anything with `mass` {part: kg}."""
    return 1e3 * sum(m for part, m in row.mass.items() if part in RIM)
