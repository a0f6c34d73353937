"""kitopt picks an off-grid radio power kit from an inventory, proves it and argues for it."""

__version__ = "0.1.0"
