"""A sweep: scattering parameters against frequency, as an analyser wrote them down."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """Scattering parameters of a one-port or an n-port.

    Attributes
    ----------
    name : str
        Where it came from: a file's name, or words.
    frequency_hz : ndarray, shape (f,)
        Rising.
    s : ndarray, shape (f, ports, ports)
        ``s[:, i, j]`` goes out of port ``i+1`` for a unit wave into port ``j+1``; port 1 is the near end.
    reference_ohm : ndarray of complex, shape (ports,)
        What each port was referred to.
    remarks : tuple of str
        What a reader should know of the file: a mended flaw, noise data left aside.
    """

    name: str
    frequency_hz: Floats
    s: Complexes
    reference_ohm: Complexes
    remarks: tuple[str, ...] = field(default=(), compare=False)

    @property
    def ports(self) -> int:
        """Number of ports."""
        return int(self.s.shape[1])

    @property
    def reflection(self) -> Complexes:
        """The reflection at port 1, shape (f,)."""
        return self.s[:, 0, 0]

    @property
    def transmission(self) -> Complexes:
        """What comes out of port 2 for a unit wave into port 1, shape (f,)."""
        return self.s[:, 1, 0]

    def covers(self, frequency_hz: float) -> bool:
        """Return whether the sweep reaches over this frequency, to a part in a million."""
        return bool(self.frequency_hz[0] * (1 - 1e-6) <= frequency_hz <= self.frequency_hz[-1] * (1 + 1e-6))
