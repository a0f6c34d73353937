"""The fixture of small choices."""

from small_choices import choose_for

__all__ = ["choose_for"]
