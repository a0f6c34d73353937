"""Many kits at once: several kits side by side on one stock, as one plan."""
