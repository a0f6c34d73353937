"""A cluster on the loopback address: the same bytes; and clear words where there is none, or one of another version."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from kitopt.budget import UNLIMITED
from kitopt.errors import BadInput
from kitopt.study import cluster as at
from kitopt.study.processes import Here
from kitopt.study.program import versions
from kitopt.study.rows import as_parquet
from kitopt.study.terms import Study

distributed = pytest.importorskip("distributed", reason="pip install 'kitopt[cluster]'")
pytestmark = pytest.mark.filterwarnings("default")


@pytest.fixture
def address() -> Iterator[str]:
    """A scheduler with two workers, processes of this machine."""
    import dask

    with (
        # a worker that is killed is not begun anew within the test
        dask.config.set({"distributed.worker.daemon": True}),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None
        ) as local,
    ):
        yield local.scheduler_address


def test_a_cluster_gives_the_same_bytes_and_outlives_a_worker(address: str, huts: Study) -> None:
    study = replace(huts, whens=huts.whens[:1])
    batches = [((one, study.fingerprint(one, "p")),) for one in study.questions()]
    workers = at.Cluster(address)
    found = []
    for n, (_, rows) in enumerate(workers.run(study, batches, UNLIMITED)):
        found += rows
        if n == 0:
            pids = workers._client.run(os.getpid)
            os.kill(min(pids.values()), signal.SIGKILL)
    workers.close()
    alone = [row for _, rows in Here().run(study, batches, UNLIMITED) for row in rows]
    assert as_parquet(found) == as_parquet(alone)


def test_no_scheduler_is_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(at, "_ANSWERS_WITHIN_S", 0.5)
    with pytest.raises(BadInput, match="no scheduler answers"):
        at.Cluster("tcp://127.0.0.1:9")
    with pytest.raises(BadInput, match="no scheduler answers"):
        at.Cluster("nowhere at all")


def test_without_the_library_it_is_told_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(BadInput, match=r"--cluster: needs packages .*: pip install 'kitopt\[cluster\]'"):
        at.Cluster("tcp://127.0.0.1:9")


class _Client:
    """A scheduler's answer, made up; remembers whether it was left."""

    found: dict[str, dict[str, str]] | Exception
    is_left = False

    def __init__(self, *_: Any, **__: Any) -> None:
        """Nothing is reached."""

    def run(self, *_: Any, **__: Any) -> dict[str, dict[str, str]]:
        if isinstance(self.found, Exception):
            raise self.found
        return self.found

    def close(self) -> None:
        type(self).is_left = True


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ({}, "the scheduler at tcp://there:1 has no workers; start some with `dask worker`."),
        (
            ModuleNotFoundError("No module named 'kitopt'"),
            r"a worker of tcp://there:1 cannot run this program \(.*kitopt",
        ),
    ],
)
def test_a_cluster_that_cannot_work_is_told_and_left(
    found: dict[str, dict[str, str]] | Exception, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = type("Client", (_Client,), {"found": found})
    monkeypatch.setattr(distributed, "Client", client)
    with pytest.raises(BadInput, match=said):
        at.Cluster("tcp://there:1")
    assert client.is_left


def test_a_clash_of_versions_is_told_one_by_one() -> None:
    mine = versions(sent=True)
    at.raise_for_clash("tcp://there", mine, {"a": mine, "b": mine})
    theirs = {**mine, "kitopt": "0.0.1+other", "numpy": "1.0"}
    with pytest.raises(BadInput) as caught:
        at.raise_for_clash("tcp://there", mine, {"a": mine, "b": theirs})
    told = [fault.text for fault in caught.value.faults]
    assert len(told) == 2
    assert told[0].startswith(f"found kitopt 0.0.1+other at b, and {mine['kitopt']} here;")
    assert "numpy 1.0 at b" in told[1]
