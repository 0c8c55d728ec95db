"""Where the work of a sweep is done: in this process, in processes of this machine, or on any Dask scheduler.

A payload is an object with `work(item)`; it goes to every worker once, also to those that join or come back later. An item
whose worker dies is given to another worker; nothing is acknowledged before its result is here and in the store.
"""

import hashlib
import logging
import os
import pickle
import socket
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import suppress
from typing import Protocol, TypeVar
from urllib.parse import urlsplit

from studies.common.inputs import BadInput
from studies.common.machine import usable_cores

Item = TypeVar("Item", contravariant=True)
Answer = TypeVar("Answer", covariant=True)
AHEAD = 3  # items waiting for each worker: enough to keep it busy, few enough to stop soon
DEATHS = 1  # times that Dask may give an item up, each after four workers died on it, before the sweep stops
CONNECT = 20  # s to reach a scheduler
LOCAL = {  # of Dask, for a cluster of this machine
    # it gives up a worker that is not back within 15 s; restarts take longer on a busy machine
    "distributed.deploy.lost-worker-timeout": "10 days",
    # nobody looks at its profiles, for which it halts every worker a hundred times a second
    "distributed.worker.profile.enabled": False,
    "distributed.admin.system-monitor.gil.enabled": False,
    # by default a worker gives every freed array back to the system and fetches its pages anew
    "distributed.nanny.pre-spawn-environ.MALLOC_TRIM_THRESHOLD_": 1 << 28,
    "distributed.nanny.pre-spawn-environ.MALLOC_MMAP_THRESHOLD_": 1 << 25,
}
PATIENCE = 60  # s to wait for the first worker of a scheduler
ENCRYPTED = ("tls", "wss")  # of Dask's protocols
OWN = "127.0.0.1"  # a sweep on the own machine is reached from there alone, its pages as well


class Payload(Protocol[Item, Answer]):
    """What workers are given once; travels by pickle."""

    def work(self, item: Item) -> Answer:
        """What becomes of an item."""


class Here:
    """In this process."""

    workers = 1

    def run(self, payload: Payload[Item, Answer], items: Iterable[Item]) -> Iterator[tuple[Item, Answer]]:
        """Yields (item, result) of an iterable of items, one after the other."""
        for item in items:
            yield item, payload.work(item)

    def close(self) -> None:
        """Nothing was started."""


class Cluster:
    """On Dask workers: a local cluster of `workers` processes, or the scheduler at an address."""

    def __init__(self, workers: int | None = None, scheduler: str | None = None):
        import dask
        import distributed

        self.cluster = None
        if scheduler is not None:
            _check_address(scheduler)
        logging.getLogger("distributed").setLevel(logging.CRITICAL)
        try:
            if scheduler is None:
                dask.config.set(LOCAL)
                self.cluster = distributed.LocalCluster(
                    n_workers=workers, threads_per_worker=1, processes=True, host=OWN, dashboard_address=f"{OWN}:0",
                    worker_dashboard_address=f"{OWN}:0", silence_logs=logging.CRITICAL, memory_limit=0,
                )  # fmt: skip
            self.client = distributed.Client(self.cluster or scheduler, timeout=CONNECT, set_as_default=False)
            self.client.wait_for_workers(1, timeout=PATIENCE)
        except Exception as error:  # of a worker that dies while it starts, of encryption: each raises its own
            self.close()
            what = scheduler or "local cluster"
            raise BadInput(
                f"{what}: no workers could be reached ({error}); expected a running 'dask scheduler' with workers"
            ) from None

    @property
    def workers(self) -> int:
        """How many there are now, at least one."""
        return max(1, len(self.client.scheduler_info(n_workers=-1)["workers"]))

    def run(self, payload: Payload[Item, Answer], items: Iterable[Item]) -> Iterator[tuple[Item, Answer]]:
        """Yields (item, result) in the order of completion; items are taken from the iterable as workers come free."""
        import distributed

        blob = pickle.dumps(payload)
        name = f"rimwork-{hashlib.sha256(blob).hexdigest()[:16]}"
        self.client.register_plugin(_plugin(blob), name=name)
        waiting: dict[distributed.Future, Item] = {}
        deaths: Counter[int] = Counter()
        rest = iter(items)
        done = distributed.as_completed(loop=self.client.loop)

        def give(item):
            future = self.client.submit(_work, name, item, pure=False)
            waiting[future] = item
            done.add(future)

        def fill():
            while len(waiting) < AHEAD * self.workers and (item := next(rest, None)) is not None:
                give(item)

        try:
            fill()
            while waiting:
                future = next(done)
                item = waiting.pop(future)
                try:
                    result = future.result()
                except (distributed.KilledWorker, distributed.CancelledError) as error:
                    deaths[id(item)] += 1
                    if deaths[id(item)] > DEATHS:
                        raise BadInput(
                            f"workers died {DEATHS + 1} times on one batch; expected workers with enough memory ({error})"
                        ) from None
                    give(item)
                    continue
                yield item, result
                fill()
        finally:
            with suppress(Exception):  # closing down is tidying up: what fails there is lost already
                self.client.cancel(list(waiting), force=True)
                self.client.unregister_worker_plugin(name)

    def close(self) -> None:
        """Stop what this object started; the workers of a foreign scheduler stay."""
        for part in (getattr(self, "client", None), self.cluster):
            if part is not None:
                with suppress(Exception):
                    part.close(timeout=10)


Engine = Here | Cluster


def open_engine(workers: int | None = None, scheduler: str | None = None) -> Engine:
    """Here for one worker without a scheduler, else a Cluster; workers=None: as many as the machine has cores."""
    if workers is not None and workers < 1:
        raise BadInput(f"--workers {workers}: expected at least 1")
    workers = workers or usable_cores()
    return Here() if scheduler is None and workers == 1 else Cluster(workers, scheduler)


def open_address(scheduler: str) -> str:
    """What to mind of a scheduler's address that others may read and use, '' where none can.

    The own machine's loopback is left out: nothing of it is on the network.
    """
    scheme, _, rest = scheduler.rpartition("://")
    host = urlsplit(f"//{rest}").hostname or ""
    if scheme in ENCRYPTED or host in ("localhost", "::1") or host.startswith("127."):
        return ""
    return (
        f"{scheduler} is neither encrypted nor asks who calls: whoever reaches the scheduler or its workers can read the work "
        "and run programs there. Expected a tls:// address (docs/howto/cluster.md tells how), or a network that you trust"
    )


def _check_address(scheduler: str) -> None:
    """BadInput unless something answers at the address: Dask itself may wait for ever on one that is none."""
    scheme, _, rest = scheduler.rpartition("://")
    expected = "expected a running 'dask scheduler', such as tcp://192.168.1.5:8786"
    try:
        where = urlsplit(f"//{rest}")
        host, port = where.hostname, where.port
    except ValueError as error:
        raise BadInput(f"--scheduler {scheduler}: no address ({error}); {expected}") from None
    if scheme not in ("", "tcp", *ENCRYPTED, "ws") or not host or not port:
        raise BadInput(f"--scheduler {scheduler}: no address of a host and a port; {expected}")
    try:
        socket.create_connection((host, port), CONNECT).close()
    except OSError as error:
        raise BadInput(
            f"--scheduler {scheduler}: nothing answers there ({error.strerror or error}); {expected}"
        ) from None


def _plugin(blob):
    from distributed import WorkerPlugin

    class Payload(WorkerPlugin):
        """Unpacks the payload once on each worker, with one thread for linear algebra."""

        def setup(self, worker):
            for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
                os.environ.setdefault(variable, "1")
            self.payload = pickle.loads(blob)

    return Payload()


def _work(name, item):
    from distributed import get_worker

    return get_worker().plugins[name].payload.work(item)
