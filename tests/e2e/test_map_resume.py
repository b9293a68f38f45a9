"""A study that is killed, interrupted or spread over processes gives the same map to the bit."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from e2e_helpers import PIKE

from sim.errors import RunError, StoreError
from sim.studies import run as run_module
from sim.studies import workers
from sim.studies.compare import differences
from sim.studies.run import run_study
from sim.studies.store import load_map
from sim.studies.study import Study, load_study

# Runs of half a second of motion: what they come to is of no interest here, only that it repeats.
STUDY = """
bait = "pike.toml"
fixed = { "solver.duration_s" = 0.5, "solver.max_duration_s" = 1.0, "solver.step_ms" = 4.0 }

[[axis]]
key = "retrieve.speed_m_s"
from = 0.4
to = 1.6
count = 20

[[axis]]
key = "bait.bill.angle_deg"
from = 25
to = 60
count = 20

[run]
chunk = 16
keep_states_ms = 40.0
"""
CHUNKS = 400 // 16
# What a user's command does, in a process of its own; here with one thread.
ANOTHER_PROCESS = """
from sim.studies.run import run_study
from sim.studies.study import load_study
run_study(load_study("study.toml"), "map.h5", resume=True, workers=1)
"""


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The map of the study, run in one go."""
    folder = tmp_path_factory.mktemp("whole")
    here = Path.cwd()
    os.chdir(folder)
    try:
        run_study(a_study(folder), "map.h5", workers=2)
        yield folder / "map.h5"
    finally:
        os.chdir(here)


def a_study(folder: Path) -> Study:
    (folder / "pike.toml").write_text(PIKE, encoding="utf-8")
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    return load_study("study.toml")


def start() -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-c", ANOTHER_PROCESS], stderr=subprocess.PIPE)


def chunks() -> list[Path]:
    return sorted(Path("map.h5.part").glob("chunk-*.h5"))


def wait_for(process: subprocess.Popen[bytes], count: int) -> None:
    """Until a process has written so many chunks, or is over."""
    end = time.monotonic() + 60.0
    while len(chunks()) < count and process.poll() is None:
        assert time.monotonic() < end, "no chunks were written"
        time.sleep(0.001)


def test_the_study_is_worth_comparing(whole: Path) -> None:
    result = load_map(whole)
    assert result.complete
    assert result.status.shape == (20, 20, 1)
    speeds = result.measures["speed_m_s"]
    assert len(set(speeds.ravel().tolist())) == 400  # every cell is its own run
    assert result.states is not None


def test_killed_at_random_moments(folder: Path, whole: Path) -> None:
    a_study(folder)
    drawn = random.Random(11)
    kills = 0
    for most in (0, 5, 11, 18, CHUNKS - 1):
        process = start()
        wait_for(process, most)
        time.sleep(drawn.uniform(0.0, 0.06))
        process.kill()
        process.communicate()
        kills += process.returncode == -signal.SIGKILL
    assert kills >= 4
    assert not Path("map.h5").exists()
    left = len(chunks())
    assert left > 10
    result = run_study(load_study("study.toml"), "map.h5", resume=True, workers=2)
    assert int(result.provenance["runs_taken_over"]) >= (left - 1) * 16
    assert differences("map.h5", whole) == []
    assert sorted(os.listdir()) == ["map.h5", "pike.toml", "study.toml"]


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals")
def test_two_processes_do_not_meet_in_one_folder(folder: Path, whole: Path) -> None:
    study = a_study(folder)
    process = start()
    try:
        wait_for(process, 2)
        process.send_signal(signal.SIGSTOP)  # so that it is not done before it was tried
        left = chunks()
        for how in ({"resume": True}, {"force": True}):
            with pytest.raises(StoreError) as caught:
                run_study(study, "map.h5", **how)
            assert str(caught.value) == (
                "map.h5.part: is being worked on by another process. Wait for it, or use another"
                " --output."
            )
        assert chunks() == left
        process.send_signal(signal.SIGCONT)
        _, stderr = process.communicate(timeout=100)
    finally:
        process.kill()
    assert process.returncode == 0, stderr
    assert differences("map.h5", whole) == []
    assert sorted(os.listdir()) == ["map.h5", "pike.toml", "study.toml"]


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals")
def test_ctrl_c_leaves_what_was_finished(folder: Path, whole: Path) -> None:
    study = a_study(folder)
    process = start()
    wait_for(process, 6)
    process.send_signal(signal.SIGINT)
    _, stderr = process.communicate(timeout=60)
    assert process.returncode == -signal.SIGINT, stderr
    assert b"KeyboardInterrupt" in stderr
    left = chunks()
    assert 6 <= len(left) < CHUNKS
    # nothing half written
    assert sorted(os.listdir("map.h5.part")) == [*(c.name for c in left), "study.json"]
    data = bytearray(left[2].read_bytes())
    data[1000] ^= 1
    left[2].write_bytes(bytes(data))
    result = run_study(study, "map.h5", resume=True, workers=2)
    assert int(result.provenance["runs_taken_over"]) == (len(left) - 1) * 16
    assert differences("map.h5", whole) == []


def test_on_a_cluster_with_a_worker_that_dies(
    folder: Path, whole: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dask.distributed import Client, LocalCluster

    study = a_study(folder)
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None,
        local_directory=str(folder / "workers"),
    ) as cluster:  # fmt: skip
        with Client(cluster) as client:
            pids = list(client.run(os.getpid).values())
        assert len(set(pids)) == 2
        assert os.getpid() not in pids
        done: list[int] = []

        def progress(runs: int, planned: int, failed: int) -> None:
            done.append(runs)
            if len(done) == CHUNKS // 2:
                os.kill(pids[0], signal.SIGKILL)

        address = cluster.scheduler_address
        result = run_study(study, "map.h5", scheduler=address, progress=progress)
        with Client(cluster) as client:
            assert pids[0] not in client.run(os.getpid).values()
        assert done[-1] == 400
        assert len(done) == CHUNKS
        assert result.provenance["calculated_by"] == f"cluster at {address}"
        assert differences("map.h5", whole) == []

        # results of another program are refused, and what was finished is kept
        newer = {**workers.bits_of(study), "numba": "99.0"}
        monkeypatch.setattr(run_module, "bits_of", lambda study: newer)
        with pytest.raises(RunError) as caught:
            run_study(study, "other.h5", scheduler=address)
        assert "a worker runs other versions (numba " in str(caught.value)
        assert ", here 99.0)" in str(caught.value)
        assert not Path("other.h5").exists()


def test_no_cluster_there(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    study = a_study(folder)
    monkeypatch.setattr(workers, "CONTACT_S", 0.5)
    for address in ("tcp://127.0.0.1:9", "nonsense", "foo://a:1"):
        with pytest.raises(RunError) as caught:
            run_study(study, "map.h5", scheduler=address)
        text = str(caught.value)
        assert text.startswith(f"--scheduler {address}: no Dask scheduler answers there within")
        assert "\n" not in text
        assert not Path("map.h5.part").exists()
    monkeypatch.setitem(sys.modules, "dask.distributed", None)
    with pytest.raises(RunError) as caught:
        run_study(study, "map.h5", scheduler="tcp://127.0.0.1:9")
    assert str(caught.value).endswith("Install it: pip install 'runtrue[cluster]'")
