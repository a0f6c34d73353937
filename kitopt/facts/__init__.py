"""What page, sheet and pictures of a kit have in common, as data: charge, power, amperes, chances, joins, bags."""
