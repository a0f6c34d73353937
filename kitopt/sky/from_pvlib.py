"""What is read out of pvlib's own files without importing pvlib, which takes longer than most commands may.

Two of its files stand on numpy alone: the solar position algorithm, and the map of turbidity.
"""

from __future__ import annotations

import importlib.util
import sys
from functools import lru_cache
from pathlib import Path
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

_SPA = "kitopt_spa_of_pvlib"


@lru_cache(maxsize=1)
def _folder() -> Path:
    spec = importlib.util.find_spec("pvlib")
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError("pvlib is not installed", name="pvlib")
    return Path(spec.submodule_search_locations[0])


@lru_cache(maxsize=1)
def spa() -> ModuleType:
    """The solar position algorithm of Reda and Andreas.

    Raises
    ------
    ModuleNotFoundError
        Without pvlib.
    """
    if "pvlib.spa" in sys.modules:
        return sys.modules["pvlib.spa"]
    spec = importlib.util.spec_from_file_location(_SPA, _folder() / "spa.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@lru_cache(maxsize=64)
def monthly_turbidity(latitude_deg: float, longitude_deg: float) -> NDArray[np.float64]:
    """Linke turbidity of the twelve months, from the map that pvlib carries.

    References
    ----------
    .. [1] J. Remund, L. Wald, M. Lefèvre, T. Ranchin and J. Page, "Worldwide Linke turbidity information," Proc.
       ISES Solar World Congress, 2003.
    """
    import h5py

    # cells of 5', the first row at the north pole, the first column at 180° west
    row = min(max(round((latitude_deg - (90.0 - 1 / 24)) * -12.0), 0), 2159)
    column = min(max(round((longitude_deg - (1 / 24 - 180.0)) * 12.0), 0), 4319)
    with h5py.File(_folder() / "data" / "LinkeTurbidities.h5", "r") as file:
        cell = file["LinkeTurbidity"][row, column]
    return np.asarray(cell, dtype=np.float64) / 20.0
