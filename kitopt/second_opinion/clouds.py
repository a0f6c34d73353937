"""Clouds that pass within a step: the same light in all, now brighter and now dimmer."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from kitopt.files.kept import Kept, kept
from kitopt.second_opinion.panels import MADE_BY
from kitopt.sky.windows import Laid, Sky

Floats = NDArray[np.float64]

BEHIND_SHARE = 0.25
"""Light behind a passing cloud over light between two; common practice, no source."""

_FEW_WINDOWS = 20
_BRIGHT_WM2 = 1000.0
_MOST_WM2 = 2000.0


def passed_wm2(useful_wm2: Floats) -> Floats:
    """What gets through the glass, from what the sky says is useful. [Wm⁻²]

    The sky counts weak light as worth less than it is, by Huld's terms; the curve of a panel knows that of itself, so
    it is taken back.

    References
    ----------
    .. [1] T. Huld, G. Friesen, A. Skoczek and others, "A power-rating model for crystalline silicon PV modules,"
       Solar Energy Materials and Solar Cells, vol. 95, 2011.
    """
    passed = np.geomspace(1.0, _MOST_WM2, 400)

    def make() -> Kept:
        import pvlib

        worth = pvlib.pvarray.huld(passed, np.asarray(25.0), 1000.0, cell_type="csi", k_version="pvgis5")
        return Kept({"worth": np.asarray(worth, dtype=np.float64)})

    worth = kept("weak light", MADE_BY, make).arrays["worth"]
    rises = worth > 0.0
    known, light = np.concatenate([[0.0], worth[rises]]), np.concatenate([[0.0], passed[rises]])
    return np.asarray(np.interp(useful_wm2, known, light), dtype=np.float64)


def dim_and_bright(
    sky: Sky, windows: NDArray[np.intp]
) -> tuple[dict[Laid, tuple[Floats, Floats]], NDArray[np.float64]]:
    """Light behind clouds and between them, and the share of each step that is bright.

    Between clouds it is as bright as in the brightest window at that hour, behind them a quarter of that; the share
    keeps the step's mean. A step duller than the quarter stays evenly dull. Where there are few windows, none of which
    need be bright, twice the light counts as bright, up to 1000 Wm⁻².

    Returns
    -------
    mapping of way to (dim, bright), each (n_windows, n_steps)
        Irradiance. [Wm⁻²]
    ndarray, shape (n_windows, n_steps)
        Share of bright minutes, the same however a panel lies. [0–1]
    """
    passed = {way: passed_wm2(values) for way, values in sky.useful_wm2.items()}
    means: Mapping[Laid, Floats] = {
        way: values[windows] if values.shape[0] > 1 else np.repeat(values, len(windows), axis=0)
        for way, values in passed.items()
    }
    # one cloud shades all panels: the share comes from the flat ones, which see the whole sky
    flat, top = means["flat"], np.maximum(_brightest(passed["flat"]), 1e-9)
    share = np.clip((flat / top - BEHIND_SHARE) / (1.0 - BEHIND_SHARE), 0.0, 1.0)
    brighter = 1.0 / (BEHIND_SHARE + (1.0 - BEHIND_SHARE) * share)
    is_broken = (share > 0.0) & (share < 1.0)
    bright = np.where(is_broken, brighter, 1.0)
    dim = np.where(is_broken, BEHIND_SHARE * brighter, 1.0)
    return {way: (mean * dim, mean * bright) for way, mean in means.items()}, share


def _brightest(values: Floats) -> Floats:
    top = values.max(axis=0)
    if values.shape[0] < _FEW_WINDOWS:
        top = np.maximum(top, np.minimum(2.0 * top, _BRIGHT_WM2))
    return np.asarray(top)
