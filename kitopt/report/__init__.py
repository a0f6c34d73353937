"""Reasons to text and JSON. Each form is a module of its own, loaded when it is asked for."""
