"""The physics and the rules of a kit: what counts, joins and leads mean, and what is never chosen."""
