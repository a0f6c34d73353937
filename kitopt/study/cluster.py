"""Workers of a Dask cluster that already runs: its scheduler, its retries, its wire format and its TLS, none of ours.

The only importer of distributed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from kitopt.budget import Budget
from kitopt.errors import BadInput, Fault
from kitopt.files.plain import error_line
from kitopt.study.answer import answers
from kitopt.study.processes import MOST_DEATHS, Batch, Done, died
from kitopt.study.program import versions
from kitopt.study.row import Row
from kitopt.study.terms import Study

_ANSWERS_WITHIN_S = 15.0
"""A scheduler that does not answer within this is none. [s]"""


class Cluster:
    """What a scheduler's workers answer.

    Parameters
    ----------
    address : str
        Such as "tcp://10.0.0.5:8786", or "tls://…" with Dask's own settings for it.

    Raises
    ------
    BadInput
        If the library is missing, there is no such scheduler, or one of its workers runs another program.
    """

    def __init__(self, address: str) -> None:
        try:
            import distributed
        except ImportError:
            raise _fault("needs packages that are not installed: pip install 'kitopt[cluster]'.") from None
        self.address = address
        # what it offers is annotated in part
        library: Any = distributed
        self._told: Any = None
        try:
            self._client = library.Client(address, timeout=_ANSWERS_WITHIN_S, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            # a time-out is an OSError too; an address of no known sort is a ValueError
            why = " ".join(str(error).split())[:200] or type(error).__name__
            raise _fault(
                f'found "{address}", where no scheduler answers ({why}); start one with `dask scheduler`, or leave '
                "--cluster out to use this machine's processes."
            ) from None
        try:
            self._check_versions()
        except BaseException:
            self._client.close()
            raise

    def _check_versions(self) -> None:
        mine = versions(sent=True)
        try:
            theirs: dict[str, dict[str, str]] = self._client.run(versions, sent=True)
        except Exception as error:
            told = error_line(error, 200)
            raise _fault(
                f"a worker of {self.address} cannot run this program ({told}); install kitopt {mine['kitopt']} there."
            ) from None
        if not theirs:
            raise _fault(f"the scheduler at {self.address} has no workers; start some with `dask worker`.")
        raise_for_clash(self.address, mine, theirs)

    def close(self) -> None:
        """Leave the cluster as it was."""
        self._client.close()

    def run(self, study: Study, batches: Sequence[Batch], clock: Budget) -> Iterator[Done]:
        """Answer as many at a time as keeps every worker busy; the study is sent to each worker once."""
        import distributed

        library: Any = distributed
        if self._told is None:
            self._told = self._client.scatter(study, broadcast=True)
        waiting = iter(batches)
        threads = sum(self._client.nthreads().values())
        running: dict[Any, Batch] = {}

        def begin() -> Any:
            batch = next(waiting, None)
            if batch is None or clock.is_over:
                return None
            future = self._client.submit(
                answers_there, self._told, batch, clock.left_s, pure=False, retries=MOST_DEATHS - 1
            )
            running[future] = batch
            return future

        first = [future for _ in range(3 * max(1, threads)) if (future := begin()) is not None]
        done = library.as_completed(first, loop=self._client.loop)
        try:
            for future in done:
                batch = running.pop(future)
                try:
                    rows = future.result()
                except library.KilledWorker:
                    rows = died(study, batch, MOST_DEATHS)
                except Exception as error:
                    raise _fault(
                        f"the cluster at {self.address} gave a batch up ({error_line(error, 200)}); run it again: "
                        "finished rows are kept."
                    ) from None
                following = begin()
                if following is not None:
                    done.add(following)
                yield batch, rows
        finally:
            if running:
                self._client.cancel(list(running))


def answers_there(study: Study, batch: Batch, left_s: float) -> list[Row]:
    """What a worker is asked."""
    return answers(study, batch, Budget.of(left_s))


def raise_for_clash(address: str, mine: dict[str, str], theirs: dict[str, dict[str, str]]) -> None:
    """Refuse workers of other versions: their answers would not be the same.

    Raises
    ------
    BadInput
        With a fault for each thing of which versions differ.
    """
    faults = []
    for name, version in mine.items():
        others = sorted(
            {
                f"{one.get(name, 'none')} at {worker}"
                for worker, one in theirs.items()
                if one.get(name, "none") != version
            }
        )
        if others:
            more = f" and {len(others) - 1} more" if len(others) > 1 else ""
            text = f"found {name} {others[0]}{more}, and {version} here; need the same on both sides of {address}."
            faults.append(Fault("--cluster", None, None, text))
    if faults:
        raise BadInput(faults)


def _fault(text: str) -> BadInput:
    return BadInput([Fault("--cluster", None, None, text)])
