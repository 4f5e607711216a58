"""A lot on a real local cluster of several processes, one of which is killed on the way."""

from __future__ import annotations

import functools
import http.server
import os
import signal
import threading
from pathlib import Path

import pandas as pd
import pytest
from made_lots import made_lot

from analyzer.lot.analysis import Asked, LotResult, analyze_lot
from analyzer.lot.store import FILE_NAME, open_store

distributed = pytest.importorskip("distributed")
# A worker that is killed leaves its connections open, and the scheduler tells of it in its log.
pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::UserWarning")
FIGURES = ["serial", "string", "characteristic", "value_cents", "standard_uncertainty_cents"]


@pytest.fixture(scope="module")
def lot(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "lot"
    made_lot(folder, 6, tuning=("E2", "A2"), rate_hz=11_025)
    return folder


@pytest.fixture(scope="module")
def cluster():
    """Two workers for all tests: one that is killed is started again."""
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        host="127.0.0.1",
        dashboard_address=None,
        silence_logs=50,
    ) as found:
        yield found


def dumped(out: Path) -> list:
    with open_store(out / FILE_NAME, create=False, read_only=True) as store:
        return list(store.dump())


def figures(result: LotResult) -> pd.DataFrame:
    return result.values[FIGURES]  # noqa: PD011 - a field of that name


def worker_pids(cluster) -> list[int]:
    with distributed.Client(cluster.scheduler_address, set_as_default=False) as client:
        return list(client.run(os.getpid).values())


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_arguments: object) -> None:
        pass


@pytest.fixture
def served(lot):
    """The lot's folder as a URL of a server of this machine."""
    handler = functools.partial(Quiet, directory=str(lot))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}/"
        server.shutdown()
        thread.join()


@pytest.mark.parametrize("scheme", ["file", "http"])
def test_workers_read_the_recordings_from_a_url(scheme, lot, cluster, tmp_path, request):
    if scheme == "http":
        pytest.importorskip("aiohttp")
    url = lot.as_uri() if scheme == "file" else request.getfixturevalue("served")
    here = analyze_lot(str(lot), tmp_path / "here", Asked(jobs=1))
    there = analyze_lot(url, tmp_path / "there", Asked(scheduler=cluster.scheduler_address))
    assert there.complete
    pd.testing.assert_frame_equal(figures(there), figures(here), check_exact=True)
    again = analyze_lot(url, tmp_path / "there", Asked(jobs=1))
    if scheme == "file":  # a server of files tells nothing by which a change could be known
        assert (again.measured, again.kept) == (0, 6)


@pytest.mark.fault("a worker of the cluster that is killed")
def test_a_worker_that_is_killed_changes_nothing(lot, cluster, tmp_path):
    victim, *others = worker_pids(cluster)
    assert len(others) == 1
    killed: list[int] = []

    def kill_one(_done: int, _total: int) -> None:
        if not killed:
            os.kill(victim, signal.SIGKILL)
            killed.append(victim)

    here = analyze_lot(str(lot), tmp_path / "here", Asked(jobs=1))
    there = analyze_lot(
        str(lot), tmp_path / "there", Asked(scheduler=cluster.scheduler_address), kill_one
    )
    assert killed == [victim]
    assert (there.measured, there.kept) == (6, 0)
    assert dumped(tmp_path / "there") == dumped(tmp_path / "here")  # bit for bit
    pd.testing.assert_frame_equal(figures(there), figures(here), check_exact=True)
