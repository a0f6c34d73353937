"""Answers about many kits at once, in words and as JSON."""
