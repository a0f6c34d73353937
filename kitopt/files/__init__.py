"""Reading what a user wrote: bytes, tables, TOML, units, and faults with their place."""
