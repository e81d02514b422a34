"""Many jobs from one file: what runs, what is kept, and what one failure costs the others."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from distributed import LocalCluster

import presolder as ps
from presolder.models.errors import InputError
from presolder.render.batch import cluster as at_a_cluster
from presolder.render.batch import running as at_work
from presolder.render.batch.jobs import Job, read_jobs
from presolder.render.batch.running import Done, run_jobs
from presolder.render.files import owner as owner_module
from presolder.render.files.owner import holding, machine
from running import presolder_here
from takes import SAMPLES

THOROUGH = pytest.mark.thorough
RIG = Path(SAMPLES.parent / "render/rigs/humbucker-500k.toml").read_text("utf-8")


def listed(folder: Path, text: str) -> Path:
    (folder / "mine.toml").write_text(RIG, "utf-8")
    (folder / "broken.wav").write_bytes(b"RIFF")
    (folder / "take.flac").write_bytes((SAMPLES / "phrase.flac").read_bytes())
    file = folder / "jobs.toml"
    file.write_text(text, "utf-8")
    return file


RENDERS = """
[[job]]
command = "render"
rigs = ["mine.toml", "single-coil-250k"]
takes = ["take.flac", "broken.wav"]
designs = ["bare", "1n"]
options = { travel = 0.5, rest = 0.1, stairs = false }

[[job]]
name = "look"
command = "need"
rigs = ["single-coil-250k"]
options = { plays = "swells" }
"""


@pytest.mark.slow
def test_failures_stop_nothing_and_a_second_run_goes_on(tmp_path: Path) -> None:
    file, out = listed(tmp_path, RENDERS), tmp_path / "out"
    done = presolder_here("batch", file, "--out", out, "--json")
    assert done.returncode == 3
    jobs = {job["name"]: job for job in json.loads(done.stdout)["jobs"]}
    assert list(jobs) == [
        "render_mine_take", "render_mine_broken", "render_single-coil-250k_take",
        "render_single-coil-250k_broken", "look_single-coil-250k",
    ]  # fmt: skip
    for name, job in jobs.items():
        assert job["outcome"] == ("failed" if "broken" in name else "made")
        assert ("cannot be read as audio" in job["message"]) == ("broken" in name)
        assert (out / name).is_dir() != ("broken" in name)
    assert (out / "render_mine_take" / "sweep" / "1n.wav").exists()
    result = json.loads((out / "look_single-coil-250k" / "result.json").read_text())
    own = presolder_here("need", "--rig", "single-coil-250k", "--plays", "swells", "--json")
    assert result == json.loads(own.stdout)
    # What is finished is kept; what failed, or is about another rig by now, is made.
    stamps = {path: path.stat().st_mtime_ns for path in out.glob("*/manifest.json")}
    (tmp_path / "mine.toml").write_text(RIG.replace("title", "# title", 1), "utf-8")
    again = ps.batch(file, out, workers=2)
    assert {one.name: one.outcome for one in again.done} == {
        name: "failed" if "broken" in name else "made" if name == "render_mine_take" else "kept"
        for name in jobs
    }
    assert not again.well
    for path, stamp in stamps.items():
        assert (path.stat().st_mtime_ns == stamp) == ("mine" not in path.parent.name)
    assert json.loads((out / "summary.json").read_text())["well"] is False


@pytest.mark.thorough
def test_stopped_and_claimed(tmp_path: Path) -> None:
    """A signal ends the jobs that run and leaves nothing half-written; a dead claim is taken over."""
    slow = RENDERS[: RENDERS.index("[[job]]\nname")].replace("travel = 0.5", "travel = 3000")
    file, out = listed(tmp_path, slow.replace(', "broken.wav"', "")), tmp_path / "out"
    running = subprocess.Popen(
        [sys.executable, "-m", "presolder", "batch", str(file), "--out", str(out), "--jobs", "1"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    while not any(out.glob(".render*")) and running.poll() is None:
        time.sleep(0.05)
    running.send_signal(signal.SIGTERM)
    _, errors = running.communicate(timeout=60)
    assert running.returncode == 143
    assert errors == "presolder: interrupted; nothing half-written is left\n"
    assert [path.name for path in out.iterdir()] == ["jobs"]
    assert not list((out / "jobs").glob("*.claim"))

    quick = listed(tmp_path, '[[job]]\ncommand = "need"\nrigs = ["single-coil-250k"]\n')
    (job,) = read_jobs(quick)
    claim = out / "jobs" / f"{job.name}.claim"
    # A claim holds as long as somebody holds it, whatever number it has.
    claim.write_text(f"{machine()}-{os.getpid()}")
    with holding(claim):
        report = ps.batch(quick, out)
    assert report.done[0].outcome == "elsewhere" and not report.well
    assert "1 are with another run" in report.lines()[0]
    assert ps.batch(quick, out).done[0].outcome == "made"
    assert not claim.exists()


@pytest.mark.thorough
@pytest.mark.parametrize(
    "owner",
    [
        "{here}-1",
        *(pytest.param(one, marks=THOROUGH) for one in ("{here}-{me}", "some_host-1", "", "{me}")),
    ],
)
def test_a_year_old_claim_is_nobodys(tmp_path: Path, owner: str) -> None:
    """Though a process of its number lives, on a host of its name."""
    file = listed(tmp_path, '[[job]]\ncommand = "need"\nrigs = ["single-coil-250k"]\n')
    (job,) = read_jobs(file)
    out = tmp_path / "out"
    (out / "jobs").mkdir(parents=True)
    claim = out / "jobs" / f"{job.name}.claim"
    claim.write_text(owner.format(here=machine(), me=os.getpid()))
    os.utime(claim, (0, 0))
    assert ps.batch(file, out).done[0].outcome == "made"
    assert not claim.exists()


@pytest.mark.parametrize("locks", [True, False])
def test_of_many_that_reach_for_a_claim_one_gets_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, locks: bool
) -> None:
    """Also on a disk without locks, once it is known whose it is."""
    if not locks:
        monkeypatch.setattr(owner_module, "fcntl", None)
    claim = tmp_path / "a.claim"
    with at_work._claimed(claim) as first:
        assert first
        others = [0] * 8

        def reach(number: int) -> None:
            with at_work._claimed(claim) as mine:
                others[number] += mine

        reaching = [threading.Thread(target=reach, args=(n,)) for n in range(8)]
        for one in reaching:
            one.start()
        for one in reaching:
            one.join()
        assert others == [0] * 8
    assert list(tmp_path.iterdir()) == []
    if not locks:
        return
    # None has it: exactly one of those that come at once gets it.
    for _ in range(50):
        at_once, got = threading.Barrier(8), []

        def race(at_once: threading.Barrier = at_once, got: list[int] = got) -> None:
            at_once.wait()
            with at_work._claimed(claim) as mine:
                got.append(mine)
                at_once.wait()

        racing = [threading.Thread(target=race) for _ in range(8)]
        for one in racing:
            one.start()
        for one in racing:
            one.join()
        assert sum(got) == 1


@pytest.mark.slow
def test_kept_means_that_these_inputs_made_this_result(tmp_path: Path) -> None:
    """Not so after an edit and back, another taper, or a result that somebody changed."""
    file, out = tmp_path / "jobs.toml", tmp_path / "out"
    (tmp_path / "law.csv").write_text("dial,fraction\n0,0\n5,0.1\n10,1\n")
    (tmp_path / "mine.toml").write_text(RIG.replace('taper = "audio"', 'taper = "law.csv"', 1))

    def outcome(design: str) -> tuple[str, str]:
        file.write_text(
            f'[[job]]\ncommand = "curves"\nrigs = ["mine.toml"]\ndesigns = ["{design}"]\n'
        )
        (one,) = ps.batch(file, out).done
        return one.outcome, (out / one.name / "result.json").read_text()

    made, cap = outcome("cap")
    assert made == "made" and outcome("cap") == ("kept", cap)
    assert outcome("68k + 1n5")[0] == "made"
    assert outcome("cap") == ("made", cap)
    (tmp_path / "law.csv").write_text("dial,fraction\n0,0\n5,0.6\n10,1\n")
    made, other = outcome("cap")
    assert made == "made" and other != cap
    (out / "curves_mine" / "result.json").write_text("{}")
    # It is somebody's now.
    assert outcome("cap") == ("failed", "{}")
    (out / "curves_mine" / "result.json").unlink()
    assert outcome("cap") == ("made", other)
    # Touched, and as it was.
    (out / "curves_mine" / "result.json").touch()
    assert outcome("cap") == ("kept", other)


@pytest.mark.slow
def test_two_batches_on_one_folder(tmp_path: Path) -> None:
    """Each job is made once."""
    text = '[[job]]\ncommand = "curves"\nrigs = ["single-coil-250k", "humbucker-500k"]\ndesigns = ["bare"]\n'
    file, out = listed(tmp_path, text), tmp_path / "out"
    command = [sys.executable, "-m", "presolder", "batch", str(file), "--out", str(out), "--json"]
    both = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    outcomes = [json.loads(one.communicate(timeout=120)[0])["jobs"] for one in both]
    for one, done in zip(both, outcomes, strict=True):
        with_the_other = any(job["outcome"] == "elsewhere" for job in done)
        assert one.returncode == (3 if with_the_other else 0)
    for first, second in zip(*outcomes, strict=True):
        pair = {first["outcome"], second["outcome"]}
        assert pair in ({"made", "elsewhere"}, {"made", "kept"})
        assert (out / first["name"] / "result.json").exists()


# A scheduler's address and process, and three workers of one thread each.
Cluster = tuple[str, subprocess.Popen[bytes], list[subprocess.Popen[bytes]]]


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    told = tmp_path / "scheduler.json"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}

    def start(*words: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen([sys.executable, "-m", *words], **quiet)  # type: ignore[call-overload, no-any-return]

    scheduler = start(
        "distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard", "--host", "127.0.0.1",
        "--scheduler-file", str(told),
    )  # fmt: skip
    workers = [
        start(
            "distributed.cli.dask_worker", "--scheduler-file", str(told), "--nthreads", "1",
            "--no-nanny", "--no-dashboard", "--local-directory", str(tmp_path / "dask"),
        )
        for _ in range(3)
    ]  # fmt: skip
    try:
        while not told.exists():
            assert scheduler.poll() is None
            time.sleep(0.05)
        yield json.loads(told.read_text())["address"], scheduler, workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


SIX = """
    [[job]]
    command = "render"
    rigs = ["mine.toml", "single-coil-250k", "dark-long-cable", "two-pickups"]
    takes = ["take.flac"]
    designs = ["bare", "cap", "series"]
    options = { travel = 20 }

    [[job]]
    command = "need"
    rigs = ["single-coil-250k", "mine.toml"]
"""


def at_work_on_cluster(
    file: Path, out: Path, address: str
) -> tuple[subprocess.Popen[str], list[Path]]:
    """A batch that was begun, and the claims that workers have told themselves the owners of."""
    command = [sys.executable, "-m", "presolder", "batch", file, "--out", out, "--json"]
    running = subprocess.Popen(
        [*command, "--cluster", address], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    claims: list[Path] = []
    while not claims and running.poll() is None:
        claims = [one for one in (out / "jobs").glob("*.claim") if one.read_text()]
        time.sleep(0.01)
    return running, claims


@pytest.mark.thorough
def test_on_a_cluster_whose_scheduler_is_killed(tmp_path: Path, cluster: Cluster) -> None:
    """Each job that is not done says so in a line, and what was done by then counts as made."""
    address, scheduler, _ = cluster
    file, out = listed(tmp_path, SIX), tmp_path / "out"
    running, _ = at_work_on_cluster(file, out, address)
    while not list((out / "jobs").glob("*.json")) and running.poll() is None:
        time.sleep(0.01)
    scheduler.kill()
    told, errors = running.communicate(timeout=120)
    assert running.returncode == 3
    assert errors.count("\n") <= 1 and "Traceback" not in errors, errors
    jobs = json.loads(told)["jobs"]
    assert len(jobs) == 6
    for job in jobs:
        if job["outcome"] == "failed":
            assert (
                "the scheduler is gone" in job["message"]
                and "run the batch again" in job["message"]
            )
        else:
            assert job["outcome"] == "made"
            assert (out / "jobs" / f"{job['name']}.json").exists()
    assert {job["outcome"] for job in jobs} == {"failed", "made"}


@pytest.mark.thorough
def test_on_a_cluster_of_which_a_worker_is_killed(tmp_path: Path, cluster: Cluster) -> None:
    """While it renders: another does its job; and a second batch on the same folder keeps all."""
    address, _, workers = cluster
    file, out = listed(tmp_path, SIX), tmp_path / "out"
    running, claims = at_work_on_cluster(file, out, address)
    number = int(claims[0].read_text().rpartition("-")[2])
    (victim,) = [one for one in workers if one.pid == number]
    victim.kill()
    assert victim.wait() == -signal.SIGKILL
    told, errors = running.communicate(timeout=120)
    assert running.returncode == 0 and errors == "", errors
    jobs = json.loads(told)["jobs"]
    assert {one["outcome"] for one in jobs} <= {"made", "kept"} and len(jobs) == 6
    for one in jobs:
        assert any((out / one["name"]).rglob("*.json"))
    assert not list((out / "jobs").glob("*.claim"))
    again = ps.batch(file, out)
    assert {one.outcome for one in again.done} == {"kept"}


@pytest.mark.parametrize(
    ("options", "said"),
    [
        # It waits for what is not there.
        pytest.param(
            ("--cluster", "nowhere:1"), "no scheduler answers", marks=pytest.mark.thorough
        ),
        (("--cluster", "??"), "no scheduler answers"),
        (("--cluster", "tcp://127.0.0.1:9", "--jobs", "2"), "exclude each other"),
    ],
)
def test_a_cluster_that_is_not_there(tmp_path: Path, options: tuple[str, ...], said: str) -> None:
    file = listed(tmp_path, '[[job]]\ncommand = "need"\nrigs = ["single-coil-250k"]\n')
    done = presolder_here("batch", file, "--out", tmp_path / "out", *options)
    assert done.returncode == 2 and said in done.stderr and done.stderr.count("\n") == 1


@pytest.mark.slow
def test_a_job_that_a_cluster_gives_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is told as failed, in its place; the others are done, each by itself though two are alike."""

    def job_of_a_worker(job: Job, out: Path) -> Done:
        if job.name == "b":
            raise RuntimeError("out of memory")
        time.sleep(0.1)
        return Done(job.name, job.command, "made", float(time.perf_counter()), str(out))

    jobs = [Job(name, "need", (), "same") for name in ("a", "b", "a")]
    monkeypatch.setattr(at_a_cluster, "run_alone", job_of_a_worker)
    counted: list[int] = []
    monkeypatch.chdir(tmp_path)
    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as local:
        done = at_a_cluster.run_on_cluster(
            jobs, Path("out"), local.scheduler_address, counted.append
        )
    assert [(one.name, one.outcome) for one in done] == [
        ("a", "made"), ("b", "failed"), ("a", "made"),
    ]  # fmt: skip
    assert done[1].message == "not done: its worker: error; run the batch again"
    assert done[0].seconds != done[2].seconds
    # Workers elsewhere stand in other folders.
    assert done[0].message == str(tmp_path / "out") and (tmp_path / "out" / "jobs").is_dir()
    assert counted == [1, 1, 1]


@pytest.fixture
def stand_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Has jobs run a script of the shell's in place of the commands."""

    def put(script: str) -> None:
        program = tmp_path / "program"
        program.write_text(f"#!/bin/sh\n{script}")
        program.chmod(0o755)
        monkeypatch.setattr(sys, "executable", str(program))

    return put


def test_what_a_job_is_run_with_and_what_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stand_in: Callable[[str], None]
) -> None:
    """Side by side each has one thread; the last line of its errors is what went wrong."""
    stand_in(
        'case "$*" in\n'
        "*mute*) exit 7;;\n"
        '*bad*) printf "presolder: note\\npresolder: it broke\\n\\n" >&2; exit 2;;\n'
        "esac\n"
        'echo "$* $OMP_NUM_THREADS"\n'
    )
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    jobs = [Job(name, "need", ("--rig", name), name) for name in ("good", "mute", "bad")]
    counted: list[int] = []
    for workers, threads in ((1, ""), (2, "1")):
        out = tmp_path / f"out{workers}"
        done = run_jobs(jobs, out, workers, counted.append)
        assert [(one.outcome, one.message) for one in done] == [
            ("made", ""), ("failed", "ended with status 7"), ("failed", "it broke"),
        ]  # fmt: skip
        said = (out / "good" / "result.json").read_text()
        assert said == f"-m presolder need --rig good --json {threads}\n"
        assert not (out / "bad").exists()
    assert counted == [1] * 6


@pytest.mark.slow
def test_jobs_are_forked_from_a_warm_process(tmp_path: Path) -> None:
    """Each in a process of its own, stopped by itself, and of a process that is gone run all the same."""
    from presolder.render.batch.warm import Warm

    warm = Warm(dict(os.environ))
    try:
        first = warm.begin(["designs", "--json", "-q"])
        out, errors = first.communicate(5.0, lambda: None)
        assert first.returncode == 0 and first.begun and errors == ""
        assert json.loads(out)["designs"]
        bad = warm.begin(["need", "--rig", "nope"])
        out, errors = bad.communicate(5.0, lambda: None)
        assert (bad.returncode, out) == (2, "") and errors.startswith("presolder: rig 'nope'")
        # What one sets, another does not have.
        assert warm.begin(["designs", "-q"]).communicate(5.0, lambda: None)[1] == ""
        asked: list[int] = []
        long = warm.begin(
            [
                "render",
                str(SAMPLES / "phrase.flac"),
                "--travel",
                "600",
                "--out",
                str(tmp_path / "o"),
            ]
        )
        timer = threading.Timer(1.0, long.terminate)
        timer.start()
        out, errors = long.communicate(0.1, lambda: asked.append(1))
        assert long.returncode == 128 + signal.SIGTERM and "interrupted" in errors
        assert asked and not (tmp_path / "o").exists() and not list(tmp_path.iterdir())
    finally:
        warm.close()


@pytest.mark.slow
def test_a_warm_process_that_is_killed_takes_no_job_with_it(tmp_path: Path) -> None:
    file, out = listed(tmp_path, RENDERS.replace('"broken.wav"', '"other.flac"')), tmp_path / "out"
    (tmp_path / "other.flac").write_bytes((SAMPLES / "string.flac").read_bytes())
    with subprocess.Popen(
        [sys.executable, "-m", "presolder", "batch", file, "--out", out, "--jobs", "1"]
    ) as batch:
        for _ in range(400):
            found = Path(f"/proc/{batch.pid}/task/{batch.pid}/children").read_text().split()
            if found:
                os.kill(int(found[0]), signal.SIGKILL)
                break
            time.sleep(0.02)
        assert found
        batch.wait()
    outcomes = [json.loads(one.read_text())["outcome"] for one in (out / "jobs").glob("*.json")]
    assert batch.returncode == 0 and outcomes == ["made"] * 5


def test_a_claim_is_kept_fresh_while_a_job_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stand_in: Callable[[str], None]
) -> None:
    """Several times in the two minutes after which others take it over."""
    stand_in("sleep 0.8\n")
    monkeypatch.setattr(at_work, "_FRESH_SECONDS", 0.9)
    out, job = tmp_path / "out", Job("long", "need", (), "long")
    watched: list[float] = []

    def watch() -> None:
        claim = out / "jobs" / "long.claim"
        while not watched or claim.exists():
            if claim.exists():
                watched.append(time.time() - claim.stat().st_mtime)
            time.sleep(0.02)

    watcher = threading.Thread(target=watch)
    watcher.start()
    assert run_jobs([job], out, 1, lambda _: None)[0].outcome == "made"
    watcher.join()
    assert max(watched) < 0.45


@pytest.mark.thorough
@pytest.mark.parametrize("owner", ["elsewhere-1", pytest.param("", marks=THOROUGH)])
def test_an_abandoned_claim_of_another_machine(tmp_path: Path, owner: str) -> None:
    """Its job is another's while the claim is fresh, and is done when nobody renews it.

    Nor does a claim hold for good whose batch was killed before it said whose it was.
    """
    file = listed(tmp_path, '[[job]]\ncommand = "need"\nrigs = ["single-coil-250k"]\n')
    out = tmp_path / "out"
    (job,) = read_jobs(file)
    (out / "jobs").mkdir(parents=True)
    claim = out / "jobs" / f"{job.name}.claim"
    claim.write_text(owner)
    assert ps.batch(file, out).done[0].outcome == "elsewhere"
    os.utime(claim, (time.time() - 100, time.time() - 100))
    assert ps.batch(file, out).done[0].outcome == "elsewhere"
    os.utime(claim, (time.time() - 130, time.time() - 130))
    assert ps.batch(file, out).done[0].outcome == "made"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "lists no jobs"),
        ("job = 3", "lists no jobs"),
        ('[[job]]\nrigs = ["humbucker-500k"]', "command"),
        ('[[job]]\ncommand = "need"', "rigs: at least one is needed"),
        ('[[job]]\ncommand = "render"\nrigs = ["humbucker-500k"]', "needs at least one recording"),
        ('[[job]]\ncommand = "need"\nrigs = ["nowhere.toml"]', "nowhere.toml: no such file"),
        ('[[job]]\ncommand = "need"\nrigs = "a"', "must be a list of texts"),
        (
            '[[job]]\ncommand = "render"\nrigs = ["humbucker-500k"]\ntakes = ["x.wav"]',
            "x.wav is not there",
        ),
        (
            '[[job]]\ncommand = "tailor"\nrigs = ["humbucker-500k"]\ndesigns = ["bare"]',
            "tailor takes none",
        ),
        (
            '[[job]]\ncommand = "need"\nrigs = ["humbucker-500k"]\noptions = { out = "x" }',
            "options out: is not for here",
        ),
        (
            '[[job]]\ncommand = "need"\nrigs = ["humbucker-500k"]\nspeed = 3',
            "unknown key 'speed'; nearest valid key",
        ),
    ],
)
def test_files_that_cannot_be_used(tmp_path: Path, text: str, said: str) -> None:
    """All is refused before anything runs."""
    with pytest.raises(InputError, match=said):
        ps.batch(listed(tmp_path, text), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_key_is_of_contents_and_options(tmp_path: Path) -> None:
    """Not of where the files lie."""
    text = '[[job]]\ncommand = "need"\nrigs = ["mine.toml"]\noptions = { plays = "swells" }\n'
    keys = []
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        keys.append(read_jobs(listed(tmp_path / name, text))[0].key)
    keys.append(read_jobs(listed(tmp_path / "a", text.replace("swells", "full")))[0].key)
    assert keys[0] == keys[1] != keys[2]
