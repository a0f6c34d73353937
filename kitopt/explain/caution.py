"""One thing to mind, under a rule of the rule book."""

from __future__ import annotations

from dataclasses import dataclass

from kitopt.model.rulebook import RULES, Level


@dataclass(frozen=True)
class Caution:
    """A level, whole sentences in the owner's numbers, the rule's identifier, and the same in a line."""

    level: Level
    text: str
    rule: str
    short: str = ""

    def __post_init__(self) -> None:
        assert self.level in RULES[self.rule].levels, self

    @property
    def line(self) -> str:
        """What to heed in one line, without a full stop."""
        return self.short or self.text.split(". ")[0].rstrip(".")

    @property
    def rank(self) -> tuple[int, int]:
        """Which is heeded first: what is to be done before what is to be looked up, harm before waste."""
        last = len(_FIRST)
        return _LEVELS.index(self.level), _FIRST.index(self.rule) if self.rule in _FIRST else last


_LEVELS = ("block", "warn", "ask")
_FIRST = (
    "unchecked-fuse",
    "parallel",
    "swaps",
    "panel-ends",
    "cold-cells",
    "leads",
    "radio-voltage",
    "parallel-panels",
)
"""Rules whose cautions come before all others of their level, the gravest first."""
