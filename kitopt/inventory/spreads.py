"""How sure a panel's worth is, real output over label, and the meter that tells of it."""

GUESSED_SPREAD, TOLD_SPREAD = 0.13, 0.06
"""Relative spread of a panel's worth where it is assumed (0.75 ± 0.10), and where the owner has given it. Common
practice, no source."""
COMMON_SHARE = 0.4
"""Of the variance of worths about what is told or assumed, what an owner's panels have in common."""
METER_SPREAD = 0.03
"""Relative spread of the gain of a cheap meter, which amperes and short circuit share."""
