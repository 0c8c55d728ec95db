"""What a tap at the bridge would show: the saddle's admittance at both ends and in the middle, its peaks and its mean level."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.admittance import Peak, Poles, admittance, main_peaks, mean_level, peaks, poles
from fem.interpolate import normal_displacement
from fem.radiation import RadiationAt
from fem.response import FREQUENCIES
from meshes.body import top_height
from meshes.coupled_model import CoupledModel
from meshes.string_places import saddle_places
from studies.common.files import Plain
from studies.common.table import Table
from studies.common.words import UNKNOWN, hertz, rounded
from studies.solved.answer import Answer

PLACES = ("bass end", "middle", "treble end")
HEAVIEST = 2.0  # times the instrument's weight: F1 and F2 are the first two peaks of a smaller effective mass; a neck's lie above
MEAN_LEVEL = (80.0, 1000.0)  # Hz
TOLD = 6  # peaks in a table
PUBLISHED = (
    "Other instruments, whose dimensions are not published and to which nothing is tuned: six steel-string guitars with Sitka tops had F1 at 96 "
    "to 101 Hz with a Q of 33 to 42 and F2 at 175 to 188 Hz with a Q of 17 to 28 (Carcagno et al., JASA 144:3533, 2018, Table I, read second-hand)."
)


@dataclass(frozen=True)
class BridgeTap:
    """A body on its supports tapped at PLACES of the saddle, out of the top."""

    frequency: np.ndarray  # (w,) Hz
    mobility: np.ndarray  # (w, 3) complex s/kg
    poles: Poles  # at PLACES
    peaks: dict[str, list[Peak]]  # {place: peaks}
    mean_level_db: dict[str, float]  # {place: dB re 1 s/kg} over mean_level_hz
    mean_level_hz: tuple[float, float]
    weight: float  # kg, of the instrument

    @property
    def main(self) -> list[Peak]:
        """F1 and F2 at the saddle's middle."""
        return main_peaks(self.peaks["middle"], HEAVIEST * self.weight)


def saddle_drives(coupled: CoupledModel, unknowns: int | None = None) -> np.ndarray:
    """(3, N) work of 1 N out of the top at PLACES: under the first string, at the saddle's middle, under the last.

    unknowns: N, with what lies under clothing; else those of the CoupledModel.
    """
    s = coupled.structure
    at = saddle_places(s.body, 3)
    at[:, 2] = top_height(s.body, *at[:, :2].T)
    rows = normal_displacement(s.space, ("top",), at, np.tile([0.0, 0.0, 1.0], (3, 1))) @ s.shape
    return np.pad(rows, ((0, 0), (0, (unknowns or len(coupled.drive)) - rows.shape[1])))


def bridge_tap(answer: Answer, outside: RadiationAt | None = None) -> BridgeTap:
    """BridgeTap of an Answer over FREQUENCIES as far as they are valid.

    outside: radiation_at of the model's radiation and these frequencies, where it is there already.
    """
    coupled, supported = answer.whole, answer.supported
    f = FREQUENCIES[min(coupled.structure.valid_to, FREQUENCIES[-1]) >= FREQUENCIES]
    drives = saddle_drives(coupled, len(supported.stiffness))
    Y = admittance(supported, drives, f, None if outside is None else outside.part(slice(len(f))))
    found = poles(supported, answer.modes, drives)
    low, high = MEAN_LEVEL[0], min(MEAN_LEVEL[1], float(f[-1]))
    return BridgeTap(
        f, Y, found,
        {place: peaks(f, Y[:, k], found, k) for k, place in enumerate(PLACES)},
        {place: mean_level(f, Y[:, k], low, high) for k, place in enumerate(PLACES)},
        (low, high),
        coupled.structure.weight,
    )  # fmt: skip


def tap_json(tap: BridgeTap) -> dict[str, Plain]:
    """The tap for machines, as docs/contract.md tells."""

    def one(p: Peak) -> dict[str, Plain]:
        masses = (1 / np.abs(tap.poles.residue[:, p.pole])).tolist()
        return {
            "frequency_hz": p.frequency, "mobility_s_per_kg": p.mobility, "prominence_db": p.prominence_db,
            "quality": p.quality, "effective_mass_kg": dict(zip(PLACES, masses)), "mode": p.pole,
        }  # fmt: skip

    return {
        "mean_level_hz": list(tap.mean_level_hz),
        "mean_level_db": tap.mean_level_db,
        "peaks": {place: [one(p) for p in tap.peaks[place]] for place in PLACES},
        "main_hz": [p.frequency for p in tap.main],
    }


def tap_table(told: Mapping[str, Any], how: str) -> Table:
    """The first peaks at any of PLACES as a table, from tap_json: one row for each mode, where it peaks the highest."""
    main = {f: f" (F{k})" for k, f in enumerate(told["main_hz"], 1)}
    of_mode: dict[int, dict[str, Any]] = {}
    for place in PLACES:
        for p in told["peaks"][place]:
            of_mode.setdefault(p["mode"], {})[place] = p
    rows = []
    for k in sorted(of_mode)[:TOLD]:
        at = of_mode[k]
        p = at.get("middle") or max(at.values(), key=lambda p: p["mobility_s_per_kg"])
        masses = (f"{1e3 * p['effective_mass_kg'][place]:.0f} g" if place in at else UNKNOWN for place in PLACES)
        speed = 1e3 * max(p["mobility_s_per_kg"] for p in at.values())
        hz = p["frequency_hz"]
        rows.append((f"{hertz(hz)} Hz{main.get(hz, '')}", f"{p['quality']:.0f}", *masses, f"{speed:.0f} mm/s"))
    low, high = told["mean_level_hz"]
    level = ", ".join(f"{rounded(told['mean_level_db'][place], 1)} dB at the {place}" for place in PLACES)
    head = ("peak", "Q", *(f"effective mass, {place}" for place in PLACES), "speed for 1 N, at most")
    return Table(
        f"What a bridge tap would show, {how}", head, tuple(rows),
        f"The first {TOLD} peaks of the admittance out of the top at the saddle, with air, without strings; '{UNKNOWN}': no peak at that place. A "
        "mode that makes no peak is not listed. F1, F2: the first two in the middle whose mode weighs less there than twice the instrument, which "
        f"leaves out the neck's. Q and masses are those of the mode behind the peak. Mean level from {low:.0f} to {high:.0f} Hz, 0 dB being "
        f"1 s/kg: {level}.",
    )  # fmt: skip
