"""``python -m kitopt``."""

from kitopt.cli import main

main()
