"""The same sweep by a dask cluster: two workers of their own processes on this machine."""

from __future__ import annotations

import pytest
from sweep_jobs import SEED, job

from armwright.core.sweep import result
from armwright.core.sweep.job import SHARD
from armwright.core.sweep.run import sweep

distributed = pytest.importorskip("distributed", reason="the extra 'farm' is not installed")


def test_a_cluster_of_two_workers_gives_the_same_bytes() -> None:
    print("seed", SEED)
    of = job(2 * SHARD + 50, rounds=1)
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, memory_limit="1GiB"
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        assert len(client.scheduler_info()["workers"]) == 2
        by_cluster = result.to_text(sweep(of, client.get_executor()))
    assert by_cluster == result.to_text(sweep(of))
