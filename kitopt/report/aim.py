"""How the panels of a kit lie: aimed as the operation says, but for those that cannot be."""

from __future__ import annotations

from kitopt.choice import Choice


def aim_text(choice: Choice) -> str:
    """A sentence; empty where there is nothing to aim."""
    text = choice.sky.aim_text
    if not choice.joins or not text:
        return ""
    panels = {join.panel.id: join.panel for join, _, _ in choice.joins}
    flat = [one.id for one in panels.values() if not one.tilts and choice.operation.aim.mode != "flat"]
    if not flat:
        return f"{text}."
    lies = f"{', '.join(flat)} cannot be tilted: flat on the ground."
    return lies if len(flat) == len(panels) else f"{text}; {lies}"
