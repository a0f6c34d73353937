"""In the field: what a panel should give, why a reading is low, and what to read next; all as data."""
