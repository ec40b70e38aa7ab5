"""Campaigns on a local Dask cluster: its executor is one of `concurrent.futures`, and is handed in as any other.

Library: dask.distributed, `LocalCluster` and `Client.get_executor`.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor

import pytest

from cfgtrack.analysis.campaign import run
from tests.analysis.test_campaign import halved, refused, sampled


@pytest.fixture(scope="module")
def cluster() -> Iterator[Executor]:
    """The executor of a cluster of two worker processes on this machine, without a dashboard."""
    from dask import config
    from distributed import Client, LocalCluster

    with (
        config.set({"distributed.worker.daemon": True}),
        LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as local,
        Client(local) as client,
    ):
        yield client.get_executor()


def test_a_cluster_gives_what_is_done_here(cluster: Executor) -> None:
    """The results of a campaign come in the order of its pieces, and its errors come back."""
    assert run(halved, range(150), executor=cluster).results == [number / 2 for number in range(150)]
    with pytest.raises(ZeroDivisionError):
        run(refused, range(20), executor=cluster)


def test_a_cluster_draws_the_same_samples(cluster: Executor) -> None:
    """The answer is the same to the last digit as without it."""
    assert sampled(cluster) == sampled(None)
