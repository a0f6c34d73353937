"""One thing to mind, under a rule of the rule book."""

from __future__ import annotations

from dataclasses import dataclass

from kitopt.model.rulebook import RULES, Level


@dataclass(frozen=True)
class Caution:
    """A level, a sentence in the owner's numbers, and the rule's identifier."""

    level: Level
    text: str
    rule: str

    def __post_init__(self) -> None:
        assert self.level in RULES[self.rule].levels, self
