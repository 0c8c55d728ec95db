"""One variant solved: reduced, in milliseconds, with an estimate of the error; or in full, from the sheet read afresh."""

import time
from itertools import pairwise

import numpy as np

from fem import compressed_terms
from fem.energies import Energies
from fem.model import Model, Term, assemble, weights
from fem.reduce import count_below
from meshes.body import Body
from meshes.build import mesh_body
from meshes.coupled_basis import coupled_model_in_basis, structure_in
from meshes.coupled_model import CoupledModel, coupled_model_of, fluid_domain
from meshes.parts import RIM
from studies.common.inputs import BadInput
from studies.solved.answer import ask
from studies.solved.dry import first_modes, solve_dry
from studies.sweep.bodies import body_at, rim_build, with_draws
from studies.sweep.design import Remade, Value, Variant
from studies.sweep.kit import Kit, row_key, sections_of, source
from studies.sweep.notes import note_errors, notes_of, summary_of
from studies.sweep.result import BatchResult, Check, Notes, Row, check_row

CLUSTER = 0.005  # modes closer than this are compared by the sum of their shares
BEYOND = 2  # modes solved beyond those compared, so that the last cluster is seen whole


Batch = tuple[str, list[Variant]]  # 'reduced', 'full' or 'check', and what to solve so
Refused = tuple[Variant, str]  # a variant that the reduced model serves not well enough, and why


class Solver:
    """Works on batches; keeps the last full model, for variants of one mesh. sheet: sheet_print of the kit's sweep."""

    def __init__(self, kit: Kit, sheet: str):
        self.kit, self.sheet, self.source = kit, sheet, source()
        self.last: tuple[tuple[str, Remade], Model] | None = None

    def work(self, item: Batch) -> BatchResult:
        """Rows or checks of a batch, and what the reduced model refused. BadInput on a worker of another version."""
        if source() != self.source:
            raise BadInput(
                f"a worker computes by another source of the program ({source()}); expected that of the run ({self.source}). "
                "Install the same version on every machine"
            )
        kind, batch = item
        start, cpu = time.perf_counter(), time.process_time()
        rows, refused, checks = [], [], []
        # variants of one reduced model together: its matrices stay in the processor's cache
        for variant in sorted(batch, key=lambda v: (self.kit.family(v), v.number)):
            if kind == "reduced":
                row, reason = self.reduced(variant)
                if reason := reason or out_of_range(row):
                    refused.append((variant, reason))
                else:
                    rows.append(row)
            elif kind == "full":
                rows.append(row := self.full(variant)[0])
                check_row(row)
            else:
                checks.append(self.check(variant))
        return BatchResult(rows, refused, checks, time.perf_counter() - start, time.process_time() - cpu)

    def reduced(self, variant: Variant) -> tuple[Row, str]:
        """(Row, '') or (Row, why it will not do)."""
        kit, accuracy = self.kit, self.kit.sweep.plan.accuracy
        sections, model = sections_of(kit, variant), kit.models[kit.family(variant)]
        weighted = compressed_terms.weight_terms(model.compressed, sections)
        v = compressed_terms.solve(model.compressed, sections, kit.sweep.plan.modes, weighted)
        reason = ""
        if not v.estimate <= accuracy.estimate:
            reason = f"estimate {v.estimate:.2g} above {accuracy.estimate:g}"
        elif v.projection_error > compressed_terms.PROJECTION_TOLERANCE:
            reason = f"coefficients outside the merged terms by {v.projection_error:.1g}"
        notes = None
        if kit.sweep.plan.plucked and not reason:
            try:
                notes = self.notes(self._sounding(variant, weighted, v), v.estimate)
            except (ValueError, ArithmeticError) as error:
                reason = str(error)
        return self.row(variant, v, v.mass, model.saddle @ v.y, v.frequency, notes, v.estimate), reason

    def _sounding(self, variant, weighted, v):
        """CoupledModel of a variant solved on the merged model."""
        body, model = self.kit.build(variant).body, self.kit.models[self.kit.family(variant)]
        inside = model.inside[self.kit.remade(variant), variant.rim].inside(body)
        structure = structure_in(model.outside, body, weighted, v.frequency, v.y, all_parts=False)
        return coupled_model_in_basis(model.outside, inside, structure, fewer=True)

    def notes(self, coupled: CoupledModel, estimate: float | None = None) -> Notes:
        """Notes of a CoupledModel as the plan asks; estimate: of the error of a reduced one."""
        sweep = self.kit.sweep
        answers = [ask(coupled, how, basis_error=estimate) for how in sweep.plan.sustain.held]
        return notes_of(answers, sweep.strings, sweep.notes_at, sweep.pluck)

    def full(self, variant: Variant, more: int = 0) -> tuple[Row, Model, dict[Term, float]]:
        """(Row, model, weights) from the sheet read afresh, with `more` modes beyond the plan's."""
        plan = self.kit.sweep.plan
        body = with_draws(body_at(self.kit.sweep, variant.values), variant.draws)
        build = rim_build(body, variant.rim)
        model, sections = self.model(variant, build.body), build.sections()
        dry = solve_dry(build, model, plan.modes + more, plan.plucked and not more)
        notes = None
        if plan.plucked:
            kept = first_modes(dry, plan.modes) if more else dry
            notes = self.notes(
                coupled_model_of(build.body, model, sections, kept.found, around=fluid_domain, fewer=True)
            )
        return self.row(variant, dry.split, dry.mass, dry.bridge, dry.found.frequency, notes), model, weights(sections)

    def model(self, variant: Variant, body: Body) -> Model:
        """The Model of a body; the last one is kept for as long as the remade factors stay the same."""
        key = (variant.rim, self.kit.remade(variant))
        if self.last is None or self.last[0] != key:
            self.last = key, assemble(mesh_body(body, self.kit.sweep.plan.mesh_size_mm / 1e3))
        return self.last[1]

    def row(
        self,
        variant: Variant,
        shares: Energies | compressed_terms.Variant,
        mass: dict[str, float],
        saddle: np.ndarray,
        frequency: np.ndarray,
        notes: Notes | None,
        estimate: float | None = None,
    ) -> Row:
        """Row of a solved variant of n modes; means are over a short tap on the saddle, each mode by the energy that it gets.

        mass {part: kg}; saddle (n,) motion at the saddle's middle; frequency (n,) Hz; estimate: of the reduced model's
        error, None of a full solve.
        """
        plan, parts = self.kit.sweep.plan, tuple(sorted(shares.strain_share))
        strain = np.array([shares.strain_share[p] for p in parts])
        heat = shares.dissipated_share
        dissipated = None if heat is None else np.array([heat[p] for p in parts])
        rim = [i for i, part in enumerate(parts) if part in RIM]
        tap = (saddle**2)[: plan.modes] / np.sum(saddle[: plan.modes] ** 2)
        mean = lambda a: None if a is None else float(tap @ a[: plan.modes])
        in_rim = None if dissipated is None else dissipated[rim].sum(axis=0)
        summary = {
            "body_g": 1e3 * sum(mass.values()),
            "rim_g": 1e3 * sum(m for part, m in mass.items() if part in RIM),
            "first_hz": float(frequency[0]),
            "heat_in_rim": mean(in_rim),
            "stored_in_rim": mean(strain[rim].sum(axis=0)),
            "mean_loss_factor": mean(shares.loss_factor),
            "no_loss_gain": None if in_rim is None else mean(1 / (1 - in_rim) - 1),
            "estimate": estimate,
        } | (summary_of(notes) if notes else {})
        kept = "shares" in plan.outputs
        parameters: dict[str, Value | dict[str, list[float]]] = dict(variant.values)
        if variant.draws:
            parameters["scatter"] = {board: [float(z) for z in draw] for board, draw in variant.draws.items()}
        return Row(
            row_key(self.kit.sweep, self.sheet, variant), parameters, variant.rim, "full" if estimate is None else "reduced", parts, frequency,
            shares.loss_factor, strain if kept else None, dissipated if kept else None, summary, notes,
        )  # fmt: skip

    def check(self, variant: Variant) -> Check:
        """Check of a variant's reduced row against a full solve, with its modes counted by inertia."""
        n = self.kit.sweep.plan.modes
        small, _ = self.reduced(variant)
        big, model, w = self.full(variant, BEYOND)
        f = big.frequency
        cut = max((k for k in range(1, len(f)) if k <= n and f[k] / f[k - 1] > 1 + CLUSTER / 10), default=n)
        level = (f[cut - 1] + f[cut]) / 2
        note, below = "", None
        try:
            below = count_below(model, w, level)
        except ArithmeticError as error:
            note = str(error)
        groups = clusters(f, n)
        strain = cluster_error(groups, small.strain, big.strain)
        dissipated = cluster_error(groups, small.dissipated, big.dissipated)
        decay = note_errors(small.notes, big.notes) if small.notes and big.notes else (None, None)
        off = float(np.max(np.abs(small.frequency / f[:n] - 1)))
        return Check(small.key, off, strain, dissipated, below, cut, note, *decay)


def out_of_range(row: Row) -> str:
    """Why a Row will not do; '' where its numbers are in range."""
    try:
        check_row(row)
    except ArithmeticError as error:
        return str(error)
    return ""


def clusters(frequency: np.ndarray, n: int) -> list[slice]:
    """[slice] of runs of modes closer than CLUSTER to their neighbour; runs that go beyond mode n are left out."""
    breaks = [0, *(np.flatnonzero(np.diff(frequency) > CLUSTER * frequency[1:]) + 1).tolist(), len(frequency)]
    return [slice(a, b) for a, b in pairwise(breaks) if b <= n]


def cluster_error(groups: list[slice], small: np.ndarray | None, big: np.ndarray | None) -> float | None:
    """Largest difference of shares (parts, n) summed over clusters; None where one of them is not known."""
    if small is None or big is None:
        return None
    return max((float(np.abs((small[:, s] - big[:, s]).sum(axis=1)).max()) for s in groups), default=0.0)
