"""How sure a panel's worth is, real output over label, and the meter that tells of it."""

GUESSED_SPREAD, TOLD_SPREAD = 0.13, 0.06
"""Relative spread of a panel's worth where it is assumed (0.75 ± 0.10), and where the owner has given it. Common
practice, no source."""
COMMON_SHARE = 0.4
"""Of the variance of worths about what is told or assumed, what an owner's panels have in common."""
UNLABELLED_W = 100.0
"""What readings of a panel whose label is lost are told over. [W]"""
USUAL_WORTH, UNLABELLED_SPREAD = 0.75, 0.5
"""A lost label is taken as that of a panel of this worth; of what is read alone, so broad a spread knows nothing."""
CAPACITY_SPREAD = 0.08
"""Relative spread of a battery's ampere-hours where they are assumed. Common practice, no source."""
MOST_OF_LABEL = 1.3
"""No battery gives more of its label than this: whoever logs more has misread. Common practice, no source."""
NINETY_SPREADS = 1.645
"""Standard deviations on either side of nine in ten."""
SUN_SPREAD = 0.064
"""Relative spread of a day's clear sun: up to 100 of 900 Wm⁻² either way; alike for all readings of the day."""
MODEL_SPREAD = 0.03
"""Relative spread of the model, on top of the meter's."""
METER_SPREAD = 0.03
"""Relative spread of the gain of a cheap meter, which amperes and short circuit share."""
ONE_READING_SPREAD = (SUN_SPREAD**2 + MODEL_SPREAD**2 + METER_SPREAD**2) ** 0.5
"""Of a panel's worth by one reading alone."""
