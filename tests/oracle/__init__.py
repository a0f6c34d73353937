"""Kits by trying every one: the physics and the rules written a second time, in plain loops.

Nothing here imports kitopt but its value types, and no array library: what the program works out
with cuts and integer programs, this finds by counting. It is slow and meant to be read.
"""

from oracle.search import Answer, Kit, answer, best_share, kits_in_order
from oracle.world import World

__all__ = ["Answer", "Kit", "World", "answer", "best_share", "kits_in_order"]
