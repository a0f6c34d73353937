"""How many plans a second a study answers, and what a region of 10,000 sites would take elsewhere.

Everything is invented. Asks the same plans, with a climate, of this process, of one and two processes, and through a
scheduler on the loopback address; measures CPU seconds a plan, what each way adds to them, memory of a worker and bytes
sent for a plan. The model: CPU seconds = start + plans x CPU seconds a plan. It is fitted on the smaller two of three
sizes and checked on the largest; where every worker has a core, elapsed seconds are CPU seconds over workers.

    python benchmarks/region.py [--smoke] [--sites 4 8 24] [--no-cluster]
"""

from __future__ import annotations

import argparse
import os
import pickle
import resource
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from kitopt.budget import UNLIMITED
from kitopt.inventory.demo import demo_folder
from kitopt.study.processes import Batch, Here, Processes, Workers
from kitopt.study.program import program_text
from kitopt.study.read import read_study
from kitopt.study.row import Row
from kitopt.study.rows import as_parquet
from kitopt.study.terms import Study

PLANS, WORKERS = 10_000 * 12, 64


@dataclass(frozen=True)
class Measured:
    """One way of answering some plans: elapsed and CPU seconds of all processes, and the bytes of the rows. [s]"""

    name: str
    plans: int
    n_workers: int
    elapsed_s: float
    cpu_s: float
    content: bytes

    @property
    def cpu_a_plan_s(self) -> float:
        """[s]"""
        return self.cpu_s / self.plans


def study_of(folder: Path, n_sites: int, months: str, patterns: list[str]) -> Study:
    """A study of some sites over a region, from the demo's patterns and store."""
    demo = demo_folder() / "studies"
    lines = ["name,latitude,longitude,altitude_m,coldest_degc,warmest_degc"]
    lines += [
        f"Site {n},{46 + 0.13 * (n % 17):.2f},{9 + 0.17 * (n % 41):.2f},{300 + n % 700},2,12" for n in range(n_sites)
    ]
    (folder / "sites.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    text = f'sites = "sites.csv"\nmonths = [{months}]\ninventories = ["{demo / "store"}"]\n'
    text += "".join(f'[[patterns]]\nfile = "{demo / name}"\n' for name in patterns)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return read_study(folder / "study.toml")


def batches_of(study: Study) -> list[Batch]:
    """A batch for each plan, in the study's order."""
    program = program_text()
    return [((one, study.fingerprint(one, program)),) for one in study.questions()]


def cpu_s() -> float:
    """CPU seconds of this process and of those that have ended and were waited for. [s]"""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def measured(name: str, n_workers: int, study: Study, make: Callable[[], Workers]) -> Measured:
    """Answer all plans of a study in one way."""
    batches = batches_of(study)
    began_s, used_s = time.perf_counter(), cpu_s()
    workers = make()
    rows: list[Row] = [row for _, some in workers.run(study, batches, UNLIMITED) for row in some]
    workers.close()
    return Measured(name, len(batches), n_workers, time.perf_counter() - began_s, cpu_s() - used_s, as_parquet(rows))


@contextmanager
def local_cluster() -> Iterator[str]:
    """A scheduler on the loopback address with two workers."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None
    ) as cluster:
        yield cluster.scheduler_address


def ways(study: Study, with_cluster: bool) -> list[Measured]:
    """All ways, the cluster's with the CPU seconds of its start too, which are waited for at its end."""
    found = [
        measured("this process", 1, study, Here),
        measured("1 process", 1, study, lambda: Processes(1)),
        measured("2 processes", 2, study, lambda: Processes(2)),
    ]
    if with_cluster:
        from kitopt.study.cluster import Cluster

        used_s = cpu_s()
        with local_cluster() as address:
            one = measured("scheduler, 2 workers", 2, study, lambda: Cluster(address))
        found.append(Measured(one.name, one.plans, 2, one.elapsed_s, cpu_s() - used_s, one.content))
    return found


def told(one: Measured) -> str:
    """One line of what was measured."""
    busy = one.cpu_s / one.elapsed_s / one.n_workers
    return (
        f"{one.name:<22}{one.plans:>6} plans {one.elapsed_s:>7.1f} s {one.plans / one.elapsed_s:>6.2f} plans/s "
        f"{one.cpu_s:>7.1f} CPU s, {one.cpu_a_plan_s:.3f} a plan, cores {busy:.0%} busy"
    )


def warmed(study: Study) -> None:
    """Answer one plan: what is loaded once is no part of a plan."""
    list(Here().run(study, batches_of(study)[:1], UNLIMITED))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="three sizes that take seconds, in this process alone")
    parser.add_argument("--sites", type=int, nargs=3, default=(4, 8, 24), metavar="N")
    parser.add_argument("--no-cluster", action="store_true")
    options = parser.parse_args()
    sizes = (1, 2, 4) if options.smoke else tuple(options.sites)
    with_cluster = not (options.smoke or options.no_cluster)
    # what is kept on the disk from an earlier run would be no work
    os.environ["KITOPT_CACHE"] = ""
    by_size: list[list[Measured]] = []
    for n_sites in sizes:
        with tempfile.TemporaryDirectory() as folder:
            study = study_of(Path(folder), n_sites, '"apr", "oct"', ["hf-day.toml"])
            warmed(study)
            found = ways(study, with_cluster) if not options.smoke else [measured("this process", 1, study, Here)]
            batch = batches_of(study)[0]
            row = Here().run(study, [batch], UNLIMITED)
            sent = len(pickle.dumps(batch)) + sum(len(pickle.dumps(some)) for _, some in row)
            once = len(pickle.dumps(study))
        for one in found:
            print(told(one))
        assert len({one.content for one in found}) == 1, "the same plans gave other bytes"
        by_size.append(found)
    small, middle, large = by_size
    print(f"bytes sent: {sent:,} a plan with its row; {once:,} once to each worker")
    memory = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print(f"memory of the largest process: {memory / 1024:,.0f} MB")
    each_s: list[float] = []
    for a, b, c in zip(small, middle, large, strict=True):
        each_s.append((b.cpu_s - a.cpu_s) / (b.plans - a.plans))
        start_s = a.cpu_s - each_s[-1] * a.plans
        model_s = start_s + each_s[-1] * c.plans
        print(
            f"{c.name:<22}{start_s:.1f} CPU s to start and {each_s[-1]:.3f} a plan; so {c.plans} plans would take "
            f"{model_s:.1f}, and took {c.cpu_s:.1f} ({c.cpu_s / model_s - 1.0:+.0%})"
        )
    if len(large) > 1:
        print(f"overhead of {large[-1].name}: {1000 * (each_s[-1] - each_s[0]):+.0f} ms a plan over this process")
    minutes = PLANS * each_s[-1] / WORKERS / 60
    print(f"so 10,000 sites x 12 months on {WORKERS} workers, a core each: about {minutes:,.0f} min")


if __name__ == "__main__":
    main()
