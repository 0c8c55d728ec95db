"""Solves variants: reduced, in milliseconds, with an estimate of the error; or in full, from the sheet read afresh."""

import time
from itertools import pairwise

import numpy as np

from fem import merged_terms
from fem.eigen import Modes, modes
from fem.energies import energies, masses
from fem.model import assemble, weights
from fem.reduce import count_below
from meshes.build import mesh_body
from meshes.parts import RIM
from meshes.saddle import saddle_rows
from meshes.sounding import sounding_body, surroundings
from meshes.sounding_basis import sounding_in, structure_in
from studies.sweep.bodies import body_at, rim_build, variant_build, with_draws
from studies.sweep.kit import row_key, sections_of
from studies.sweep.notes import errors as note_errors
from studies.sweep.notes import notes_of, summary_of
from studies.sweep.rows import Check, Result, Row

CLUSTER = 0.005  # modes closer than this are compared by the sum of their shares
BEYOND = 2  # modes solved beyond those compared, so that the last cluster is seen whole


class Solver:
    """Works on batches ('reduced' | 'full' | 'check', [Variant]); keeps the last full model, for variants of one mesh."""

    def __init__(self, kit, sheet):
        self.kit, self.sheet, self.last = kit, sheet, (None, None)

    def work(self, item):
        """Result of a batch."""
        kind, batch = item
        start, cpu = time.perf_counter(), time.process_time()
        rows, in_full, checks = [], [], []
        for variant in sorted(batch, key=self.near):
            if kind == "reduced":
                row, reason = self.reduced(variant)
                if reason:
                    in_full.append((variant, reason))
                else:
                    rows.append(row)
            elif kind == "full":
                rows.append(self.full(variant)[0])
            else:
                checks.append(self.check(variant))
        return Result(rows, in_full, checks, time.perf_counter() - start, time.process_time() - cpu)

    def near(self, variant):
        """Sorts variants of one reduced model together: its matrices stay in the processor's cache."""
        return str(self.kit.family(variant)), variant.number

    def reduced(self, variant):
        """(Row, '') or (Row, why it will not do)."""
        kit, accuracy = self.kit, self.kit.night.plan.accuracy
        sections = sections_of(kit, variant)
        family = kit.family(variant)
        weighed = merged_terms.weigh(kit.merged[family], sections)
        v = merged_terms.solve(kit.merged[family], sections, kit.night.plan.modes, weighed)
        reason = ""
        if not v.estimate <= accuracy.estimate:
            reason = f"estimate {v.estimate:.2g} above {accuracy.estimate:g}"
        elif v.miss > merged_terms.MISS:
            reason = f"coefficients outside the merged terms by {v.miss:.1g}"
        notes = None
        if kit.night.plan.plucked and not reason:
            try:
                notes = self.notes(self.sounding_in_basis(variant, weighed, v))
            except (ValueError, ArithmeticError) as error:
                reason = str(error)
        return self.row(variant, "reduced", v, v.mass, kit.saddle[family] @ v.y, v.frequency, v.estimate, notes), reason

    def sounding_in_basis(self, variant, weighed, v):
        """Sounding of a variant solved on the merged model."""
        kit, key, outside = self.kit, self.kit.ground_key(variant), self.kit.outside[self.kit.family(variant)]
        body = variant_build(kit.grounds[key].body, kit.grounds[key].moves, variant).body
        structure = structure_in(outside, body, weighed, v.frequency, v.y, all_parts=False)
        return sounding_in(outside, kit.inside[key, variant.rim].inside(body), structure, fewer=True)

    def notes(self, sounding):
        """Notes of a Sounding as the plan asks."""
        night = self.kit.night
        return notes_of(sounding, night.strings, night.notes_at, night.plan.sustain.held, night.pluck)

    def full(self, variant, more=0):
        """(Row, model, weights) from the sheet read afresh, with `more` modes beyond the plan's."""
        night = self.kit.night
        body = with_draws(body_at(night, variant.values), variant.draws)
        build = rim_build(body, variant.rim)
        sections = build.sections()
        model = self.model(variant, build.body)
        w = weights(sections)
        found = modes(model, w, night.plan.modes + more)
        split = energies(model, sections, found.shape)
        phi = (saddle_rows(build.body, model.space) @ found.shape)[0]
        notes = None
        if night.plan.plucked:
            n = night.plan.modes
            kept = Modes(found.frequency[:n], found.shape[:, :n], found.residual[:n], found.rigid_frequency)
            notes = self.notes(sounding_body(build.body, model, sections, kept, around=surroundings, fewer=True))
        row = self.row(variant, "full", split, masses(model, sections), phi, found.frequency, None, notes)
        return row, model, w

    def model(self, variant, body):
        """The Model of a body; the last one is kept for as long as the remade factors stay the same."""
        key = (variant.rim, self.kit.ground_key(variant))
        if self.last[0] != key:
            self.last = key, assemble(mesh_body(body, self.kit.night.plan.mesh_size_mm / 1e3))
        return self.last[1]

    def row(self, variant, method, split, mass, phi, frequency, estimate, notes):
        """Row of shares (Energies or merged_terms.Variant), masses {part: kg}, the saddle's motion phi (n,) and Notes or None."""
        plan = self.kit.night.plan
        parts = tuple(sorted(split.strain_share))
        strain = np.array([split.strain_share[p] for p in parts])
        heat = None if split.heat_share is None else np.array([split.heat_share[p] for p in parts])
        rim = [i for i, part in enumerate(parts) if part in RIM]
        tap = (phi**2)[: plan.modes] / np.sum(phi[: plan.modes] ** 2)
        mean = lambda a: None if a is None else float(tap @ a[: plan.modes])
        heat_in_rim = None if heat is None else heat[rim].sum(axis=0)
        gain = None if heat is None else 1 / (1 - heat_in_rim) - 1
        summary = {
            "body_g": 1e3 * sum(mass.values()),
            "rim_g": 1e3 * sum(m for part, m in mass.items() if part in RIM),
            "first_hz": float(frequency[0]),
            "heat_in_rim": mean(heat_in_rim),
            "stored_in_rim": mean(strain[rim].sum(axis=0)),
            "mean_loss_factor": mean(split.loss_factor),
            "no_loss_gain": mean(gain),
            "estimate": estimate,
        } | (summary_of(notes) if notes else {})
        shares = "shares" in plan.outputs
        parameters = dict(variant.values)
        if variant.draws:
            parameters["scatter"] = {board: [float(z) for z in draw] for board, draw in variant.draws.items()}
        return Row(
            row_key(self.kit.night, self.sheet, variant), parameters, variant.rim, method, parts, frequency,
            split.loss_factor, strain if shares else None, heat if shares else None, summary, notes,
        )  # fmt: skip

    def check(self, variant):
        """Check of a variant's reduced row against a full solve, with its modes counted by inertia."""
        n = self.kit.night.plan.modes
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
        found = clusters(f, n)
        errors = [
            None if a is None or b is None else cluster_error(found, a, b)
            for a, b in ((small.strain, big.strain), (small.heat, big.heat))
        ]
        decay = note_errors(small.notes, big.notes) if small.notes and big.notes else (None, None)
        return Check(small.key, float(np.max(np.abs(small.frequency / f[:n] - 1))), *errors, below, cut, note, *decay)


def clusters(frequency, n):
    """[slice] of runs of modes closer than CLUSTER to their neighbour; runs that go beyond mode n are left out."""
    breaks = [0, *(np.flatnonzero(np.diff(frequency) > CLUSTER * frequency[1:]) + 1).tolist(), len(frequency)]
    return [slice(a, b) for a, b in pairwise(breaks) if b <= n]


def cluster_error(found, small, big):
    """Largest difference of shares (parts, n) summed over clusters."""
    return max((float(np.abs((small[:, s] - big[:, s]).sum(axis=1)).max()) for s in found), default=0.0)
