"""A night of arithmetic in a process of its own, to be killed: python sweep_child.py STORE STARTS WORKERS TOTAL SECONDS."""

import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]


def main(store, starts, workers, total, seconds):
    from sweep_payload import Payload

    from studies.sweep.engine import open_engine
    from studies.sweep.store import Store

    with Store(store) as kept:
        have = kept.keys()
        todo = [n for n in range(int(total)) if f"{n:05d}" not in have]
        engine = open_engine(int(workers))
        try:
            batches = [("reduced", todo[i : i + 5]) for i in range(0, len(todo), 5)]
            for (_, batch), result in engine.run(Payload(starts, float(seconds)), batches):
                kept.add(result.rows)
                print(*batch, flush=True)  # acknowledged
        finally:
            engine.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
