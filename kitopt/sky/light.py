"""Light over an operation's windows, before any panel is held into it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.clear_sky import ClearSky, Place
from kitopt.sky.shade import OpenSky
from kitopt.sky.sun import Sun


def _all() -> NDArray[np.float64]:
    return np.ones((1, 1))


@dataclass(frozen=True)
class Light:
    """Sun, clear sky and real sky over the same steps.

    `sun` and `clear` hold (1, n_steps) where all windows share their dates, else (n_windows, n_steps).

    Attributes
    ----------
    at_s : ndarray
        Middle of each step, seconds of universal time since 1970; shaped like the sun's arrays.
    dni_wm2, dhi_wm2 : ndarray, shape (n_windows, n_steps)
        Beam facing the sun, and diffuse light on the flat; nothing in the way. [Wm⁻²]
    """

    place: Place
    at_s: NDArray[np.float64]
    sun: Sun
    clear: ClearSky
    dni_wm2: NDArray[np.float64]
    dhi_wm2: NDArray[np.float64]
    headroom: float = 1.0
    """Highest irradiance on any plane, as a multiple of that of a panel facing the sun under the clear sky."""
    beam_share: NDArray[np.float64] = field(default_factory=_all)
    """What of the beam, and of the glow around the sun, nothing stands in the way of; broadcast over the steps."""
    sky_share: NDArray[np.float64] = field(default_factory=_all)
    """The same of the rest of the sky's light."""
    open_sky: OpenSky | None = None
    """What a horizon leaves of the sky; None where it is open."""

    @property
    def n_windows(self) -> int:
        """Number of windows."""
        return int(self.dni_wm2.shape[0])

    def part(self, windows: NDArray[np.int64], steps: NDArray[np.int64]) -> Light:
        """Only some of the windows and steps."""

        def cut(whole: NDArray[np.float64]) -> NDArray[np.float64]:
            if whole.shape[1] == 1:
                return whole
            rows = windows if whole.shape[0] > 1 else np.zeros(1, dtype=np.int64)
            return whole[np.ix_(rows, steps)]

        return replace(
            self,
            at_s=cut(self.at_s),
            sun=Sun(cut(self.sun.zenith_deg), cut(self.sun.azimuth_deg), cut(self.sun.extra_wm2)),
            clear=ClearSky(cut(self.clear.ghi_wm2), cut(self.clear.dni_wm2), cut(self.clear.dhi_wm2)),
            dni_wm2=cut(self.dni_wm2),
            dhi_wm2=cut(self.dhi_wm2),
            beam_share=cut(self.beam_share),
            sky_share=cut(self.sky_share),
        )
