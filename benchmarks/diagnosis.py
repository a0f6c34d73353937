"""How often kitopt names the cause of a low reading: seeded faults of fifteen causes, and healthy set-ups.

The set-ups and their meters are an independent model (tests/oracle/faulty_panels.py), their severities were fixed
before the method was written. Prints how often the first cause, or one of the first two, is the true one, with the
trade's rules of thumb beside it, and what is taken for what.

    python benchmarks/diagnosis.py [--smoke] [--faults 200] [--healthy 100] [--seed 1]
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from oracle.diagnosed import Tally, cases, diagnose
from oracle.faulty_panels import CAUSES


def line(name: str, tally: Tally) -> str:
    """One way of reading."""
    right, said = tally.sure_is_right()
    shares = "".join(
        f"{tally.share(what):>8.2f}"
        for what in ("first", "two", "kind", "kind_two", "fault_is_normal", "healthy_is_normal")
    )
    return f"{name:24}{shares}   {right:.2f} of {said}"


def confusion(tally: Tally) -> list[str]:
    """What is taken for what: a line a cause, what was said of it behind."""
    rows = []
    for cause in (*CAUSES, "normal"):
        said = sorted(((n, other) for (true, other), n in tally.confusion.items() if true == cause), reverse=True)
        rows.append(f"  {cause:14}" + ", ".join(f"{other} {n}" for n, other in said))
    return rows


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="15 faults and 5 healthy set-ups")
    parser.add_argument("--faults", type=int, default=200)
    parser.add_argument("--healthy", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    n_faults, n_healthy = (15, 5) if asked.smoke else (asked.faults, asked.healthy)
    tallies = diagnose(cases(asked.seed, n_faults, n_healthy))
    print(f"{n_faults} faults, {n_healthy} healthy, seed {asked.seed}")
    heads = ("first", "two", "kind", "two", "faults", "healthy")
    print(f"{'':24}" + "".join(f"{head:>8}" for head in heads) + "   95 % said")
    print(f"{'':24}{'':32}" + f"{'called normal':>16}" + "   is right")
    for name, tally in tallies.items():
        print(line(name, tally))
    print("What was read as asked is taken for:")
    print("\n".join(confusion(tallies["asked"])))


if __name__ == "__main__":
    main()
