"""Fuses as they are sold, by the holder that they go into.

References
----------
.. [1] ISO 8820-3, "Road vehicles, fuse-links, part 3: fuse-links with tabs (blade type)": 1 to 40 A, and the
   larger blades to 80 A; each breaks 1,000 A at 32 V. Ratings from memory.
.. [2] ISO 8820-5, fuse-links with axial terminals (strip type): 30 to 200 A, 2,000 A. From memory.
.. [3] IEC 60127 and trade lists: glass tubes; what they break is often little more than 200 A. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Holder:
    """One sort of fuse.

    Attributes
    ----------
    ratings_a : tuple of float
        Standard ratings, rising. [A]
    usual_a : float
        What a holder in a lead takes where nobody wrote it down. [A]
    breaks_a : float
        The most that it is made to break. [A]
    """

    ratings_a: tuple[float, ...]
    usual_a: float
    breaks_a: float


HOLDERS: dict[str, Holder] = {
    "blade": Holder((1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30, 40), 30, 1000),
    "maxi": Holder((20, 30, 40, 50, 60, 70, 80), 60, 1000),
    "midi": Holder((30, 40, 50, 60, 70, 80, 100, 125, 150, 200), 100, 2000),
    "glass": Holder((0.5, 1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30), 20, 200),
}
