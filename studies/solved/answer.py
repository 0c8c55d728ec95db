"""The door: a build with the air inside and out, held one way, and all that questions read of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from fem.body_modes import BodyModes
from fem.response import ModalModel
from meshes.coupled_model import CoupledModel, VibroacousticModes, modes_of, real_modes
from meshes.string_body import string_body
from meshes.supports import CLOTHING, PLAYED, hand_on, with_supports

FULL, REDUCED = "full", "reduced"


@dataclass(frozen=True)
class Answer:
    """A CoupledModel held one way. Its modes are solved for when they are first read, and once.

    The mesh error is told by the same question on the Levels of prepare_three.
    """

    whole: CoupledModel = field(repr=False)
    how: str
    supported: ModalModel = field(repr=False)
    firmness: float = 1.0  # of flesh, as of lap_supports
    basis_error: float | None = None  # estimate, of frequencies, relative; None: solved in full

    @property
    def method(self) -> str:
        """FULL or REDUCED: whether the build was solved on its mesh or in a reduced basis."""
        return FULL if self.basis_error is None else REDUCED

    @cached_property
    def modes(self) -> VibroacousticModes:
        """Air-loaded modes, those of the supports among them."""
        return modes_of(self.whole, self.supported)

    @cached_property
    def real_modes(self) -> tuple[np.ndarray, np.ndarray]:
        """omega (m,) [rad/s] and shape (N or more, m) without losses, as meshes.coupled_model.real_modes."""
        return real_modes(self.whole, self.supported)

    def played(self, strings: int = 6) -> BodyModes:
        """BodyModes as `strings` strings meet them; PLAYED, with a hand at the fret."""
        hand = hand_on(self.whole.structure, firmness=self.firmness) if self.how == PLAYED else None
        return string_body(self.whole, self.supported, strings, hand, self.real_modes)

    def losing(self, loss: Mapping[str, np.ndarray]) -> "Answer":
        """The same with other hysteretic losses {part: matrix} in place of its own."""
        return replace(self, supported=replace(self.supported, loss=dict(loss)))


def ask(
    whole: CoupledModel,
    how: str,
    firmness: float = 1.0,
    clothing: float = CLOTHING,
    basis_error: float | None = None,
) -> Answer:
    """Answer of a CoupledModel, whole or in a basis, hung FREE, on the LAP or PLAYED; firmness, clothing: as of lap_supports.

    whole: of coupled_models, one of many builds, or of one_coupled; in a basis with its basis_error.
    """
    return Answer(whole, how, with_supports(whole, how, firmness, clothing), firmness, basis_error)
