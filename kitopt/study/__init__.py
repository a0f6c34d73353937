"""A region: many sites by months, patterns and inventories, each an independent plan whose answer is kept as a row.

Everything is loaded on first use.
"""
