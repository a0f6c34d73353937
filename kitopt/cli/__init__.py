"""The command line: parse, call, print, exit. Nothing heavy is imported before a command runs."""

from kitopt.cli.run import main

__all__ = ["main"]
