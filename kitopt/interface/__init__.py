"""What ``import kitopt`` gives: calls, and results that render themselves. The command line uses both."""
