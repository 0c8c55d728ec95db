"""What moves what as a page and tables for machines."""

from pathlib import Path

import numpy as np

from studies.common import cautions
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.page import write_page
from studies.moves.result import Moves, determined
from studies.moves.words import LABEL, NOISE, NOT_MODELLED, answer, charts, damping_table, effects_table


def per_step(study: Moves) -> list[dict[str, Plain]]:
    """One dict for each step and mode."""
    safe = lambda v: float(v) if np.isfinite(v) else None
    return [
        {
            "step": e.key, "what": e.words, "weight_g": study.grams[e.key], "mode": k + 1, "moves": study.moves[k],
            "frequency_hz": float(f), "change_hz": safe(e.hertz[k]), "noise_hz": safe(e.hertz_noise[k]),
            "determined": determined(e.hertz[k], e.hertz_noise[k]), "loss_factor_change": safe(e.loss[k]), "loss_factor_noise": safe(e.loss_noise[k]),
            "sound_db": safe(e.level_db), "sound_noise_db": safe(e.level_noise),
        }
        for e in study.effects for k, f in enumerate(study.frequency)
    ]  # fmt: skip


def write_moves(study: Moves, unknowns: tuple[int, ...], out: Path) -> list[Path]:
    """Write index.html, moves.json and moves.csv into the folder `out`; returns the paths written."""
    about = About(study.body, "air", LABEL, NOISE, NOT_MODELLED, provenance(study.source, study.sizes, unknowns))
    data = told(
        about,
        {"frequency_hz": study.frequency.tolist(), "loss_factor": study.loss_factor.tolist(), "steps": per_step(study)},
    )
    page = write_page(out / "index.html", "moves/page.html.j2", {
        "source": study.source, "title": f"{study.body.name}: what moves what", "data": data, "answer": answer(study),
        "tables": [effects_table(study), damping_table(study)], "charts": charts(study), "cautions": cautions.RIM,
    })  # fmt: skip
    return [page, write_table(out / "moves.csv", per_step(study)), write_json(out / "moves.json", data)]
