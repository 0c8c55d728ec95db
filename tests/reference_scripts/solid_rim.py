"""Writes tests/solid_rim.json: deflections of open rims with blocks in solid elements, which tests/test_squeeze.py compares with.

python tests/reference_scripts/solid_rim.py          # some three minutes
python tests/reference_scripts/solid_rim.py finer    # the first case on finer elements: what the stored ones are good for
"""

import json
import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from solid_rim import CASES, STORED, rim_of, solid_pressed  # noqa: E402

FINER = {"size": 0.009, "fine": 0.0005, "across": (4, 6), "rows": (3, 6)}

if __name__ == "__main__":
    if sys.argv[1:] == ["finer"]:
        print(solid_pressed(rim_of(*CASES[0]), **FINER))
    else:
        stored = [{"case": case, "metres_per_newton": solid_pressed(rim_of(*case))} for case in CASES]
        STORED.write_text(json.dumps(stored, indent=1) + "\n")
