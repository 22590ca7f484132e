"""Killed at random moments and gone on with: same table to the byte, with two processes and with dask workers.

Invented data – not a person.
"""

from __future__ import annotations

import csv
import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from sibilant.audio import write_wav
from sibilant.lexicon import expect
from sibilant.synthetic import ProbePlan, probe, woman

EVIDENCE = Path(__file__).parents[2] / "docs/evidence/corpus_killed.csv"
TABLES = ("tokens.csv", "tokens.parquet", "run.json")
N_FILES = 12
PATIENCE_S = 180


def corpus_command(source: Path, to: Path, *more: str) -> list[str]:
    return [sys.executable, "-m", "sibilant_cli", "corpus", str(source), "--to", str(to), "--words", "words.csv", *more]


def hashes(folder: Path) -> list[str]:
    return [hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in TABLES]


def n_parts(folder: Path) -> int:
    return len(list((folder / "parts").rglob("*.json"))) if (folder / "parts").exists() else 0


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("killed")
    prompts = [expect("seal"), expect("bus")]
    (folder / "words.csv").write_text("word\nseal\nbus\n")
    (folder / "sounds").mkdir()
    for number in range(N_FILES - 1):
        spoken = probe(prompts, woman(number), number, plan=ProbePlan(pause_s=(0.3, 0.4)))
        write_wav(folder / f"sounds/{number}.wav", spoken.samples, spoken.sampling_rate_hz)
    (folder / "sounds/broken.wav").write_text("no sound")
    return folder


@pytest.fixture(scope="module")
def unbroken(source: Path) -> list[str]:
    subprocess.run(corpus_command(source / "sounds", source / "whole"), check=True, cwd=source, capture_output=True)
    return hashes(source / "whole")


def free_port() -> int:
    import socket

    with socket.socket() as probe_socket:
        probe_socket.bind(("127.0.0.1", 0))
        return int(probe_socket.getsockname()[1])


def start(*words: str, log: Path) -> subprocess.Popen[bytes]:
    with log.open("wb") as stream:
        return subprocess.Popen(
            [sys.executable, "-m", *words], stdout=stream, stderr=stream, cwd=log.parent, start_new_session=True
        )


def end(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


class Cluster:
    """A scheduler and two workers, each a process of its own on loopback, as a laboratory would start them."""

    def __init__(self, folder: Path) -> None:
        pytest.importorskip("distributed")
        port = free_port()
        self.folder = folder
        self.address = f"tcp://127.0.0.1:{port}"
        asked = ("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard")
        self.scheduler = start(*asked, log=folder / "scheduler.log")
        self.workers: list[subprocess.Popen[bytes]] = []
        self.add_worker()
        self.add_worker()

    def add_worker(self) -> None:
        name = f"w{len(self.workers)}"
        asked = ("distributed.cli.dask_worker", self.address, "--nthreads", "1", "--name", name, "--no-dashboard")
        self.workers.append(start(*asked, "--local-directory", str(self.folder), log=self.folder / f"{name}.log"))

    def ready(self, n: int) -> None:
        from distributed import Client

        with Client(self.address, timeout=60, set_as_default=False) as client:
            client.wait_for_workers(n, timeout=120)

    def close(self) -> None:
        for process in (*self.workers, self.scheduler):
            end(process)


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    made = Cluster(tmp_path_factory.mktemp("cluster"))
    try:
        made.ready(2)
        yield made
    finally:
        made.close()


def killed_once(source: Path, to: Path, engine: tuple[str, ...], seed: int) -> tuple[int, list[str]]:
    """Kill a run at a random moment, go on with it; return how many parts were there and the hashes of the tables.

    Every second time only the gathering process is killed: its orphaned workers must leave without harm.
    """
    shutil.rmtree(to, ignore_errors=True)
    rng = random.Random(seed)
    process = subprocess.Popen(
        corpus_command(source / "sounds", to, *engine), cwd=source, stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    wanted, begin = rng.randrange(N_FILES + 1), time.monotonic()
    while process.poll() is None and n_parts(to) < wanted and time.monotonic() - begin < PATIENCE_S:
        time.sleep(0.005)
    time.sleep(rng.uniform(0, 0.2))
    if seed % 2:
        process.kill()
    end(process)
    there = n_parts(to)
    done = subprocess.run(
        corpus_command(source / "sounds", to, "--resume", *engine), cwd=source, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr.decode()[-2000:]
    return there, hashes(to)


def many_kills(source: Path, unbroken: list[str], engine: tuple[str, ...], n: int) -> list[int]:
    there = []
    for seed in range(n):
        found, told = killed_once(source, source / "again", engine, seed)
        assert told == unbroken, f"seed {seed}: killed with {found} parts done"
        there.append(found)
    return there


def test_killed_with_two_processes(source: Path, unbroken: list[str]) -> None:
    many_kills(source, unbroken, ("--workers", "2"), 2)


def test_killed_with_dask(source: Path, unbroken: list[str], cluster: Cluster) -> None:
    many_kills(source, unbroken, ("--scheduler", cluster.address), 2)


def test_a_killed_worker_loses_nothing(source: Path, unbroken: list[str], cluster: Cluster) -> None:
    """Worker and its nanny are killed while they measure; the other one takes over."""
    to = source / "worker"
    process = subprocess.Popen(
        corpus_command(source / "sounds", to, "--scheduler", cluster.address), cwd=source, stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )  # fmt: skip
    begin = time.monotonic()
    while n_parts(to) < 1 and process.poll() is None and time.monotonic() - begin < PATIENCE_S:
        time.sleep(0.005)
    assert process.poll() is None
    end(cluster.workers[0])
    _, errors = process.communicate(timeout=PATIENCE_S)
    cluster.add_worker()
    assert process.returncode == 0, errors.decode()[-2000:]
    assert hashes(to) == unbroken


def test_a_scheduler_that_is_not_there(source: Path) -> None:
    asked = corpus_command(source / "sounds", source / "none", "--scheduler", f"tcp://127.0.0.1:{free_port()}")
    done = subprocess.run(asked, cwd=source, capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert "does not answer" in done.stderr and "Traceback" not in done.stderr


def test_a_scheduler_over_tls(
    source: Path, unbroken: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A self-signed certificate in dask's own configuration; the same command with tls:// in the address."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not here to make a certificate")
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost", "-keyout",
         str(key), "-out", str(certificate)], check=True, capture_output=True,
    )  # fmt: skip
    for name, value in (("CA_FILE", certificate), ("CLIENT__KEY", key), ("CLIENT__CERT", certificate),
                        ("SCHEDULER__KEY", key), ("SCHEDULER__CERT", certificate),
                        ("WORKER__KEY", key), ("WORKER__CERT", certificate)):  # fmt: skip
        monkeypatch.setenv(f"DASK_DISTRIBUTED__COMM__TLS__{name}", str(value))
    address = f"tls://127.0.0.1:{free_port()}"
    asked = ("--protocol", "tls", "--host", "127.0.0.1", "--port", address.rsplit(":", 1)[1], "--no-dashboard")
    scheduler = start("distributed.cli.dask_scheduler", *asked, log=tmp_path / "scheduler.log")
    worker = start(
        "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard", "--local-directory",
        str(tmp_path), log=tmp_path / "worker.log",
    )  # fmt: skip
    try:
        to = tmp_path / "to"
        done = subprocess.run(
            corpus_command(source / "sounds", to, "--scheduler", address), cwd=source, capture_output=True, text=True,
            check=False, timeout=PATIENCE_S,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr[-2000:] + (tmp_path / "worker.log").read_text()[-2000:]
        assert hashes(to) == unbroken
    finally:
        end(worker)
        end(scheduler)


@pytest.mark.long
def test_killed_twenty_times_each(source: Path, unbroken: list[str], cluster: Cluster) -> None:
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False)
    rows = []
    for name, engine in (
        ("two processes", ("--workers", "2")),
        ("dask, two workers", ("--scheduler", cluster.address)),
    ):
        for seed, there in enumerate(many_kills(source, unbroken, engine, 20)):
            rows.append([name, seed, there, N_FILES, "same to the byte", commit.stdout.strip()])
    with EVIDENCE.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["engine", "seed", "n_recordings_done_when_killed", "n_recordings", "tables", "commit"])
        writer.writerows(rows)
