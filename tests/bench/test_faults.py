"""What goes wrong around the bench: killed, no room, no folder, two of it, and nonsense asked."""

import http.client
import json
import os
import random
import resource
import shutil
import signal
import socket
import threading
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

import pytest
from benches import Bench, at_work

import presolder as ps
from presolder.render.bench import jobs
from presolder.render.files.rig_file import built_in_rigs


def begun(bench: Bench, title: str = "one") -> str:
    status, told = bench.ask("POST", "/api/jobs", {"title": title, "answers": {}})
    assert status == 201
    return f"/api/jobs/{told['name']}"


# What a server that is killed leaves of an answer: nothing, a part of it, or no JSON.
GONE = (OSError, http.client.HTTPException, ValueError)


def edits(bench: Bench, path: str, known: list[int]) -> None:
    """Change the cable again and again; `known` holds what was acknowledged."""
    try:
        while True:
            version = bench.ask("GET", path)[1]["version"]
            metres = version % 20 + 1
            told = {"version": version, "key": "cable.length", "answer": f"{metres} m"}
            status, told = bench.ask("PUT", path, told)
            if status == 200:
                known.append(told["version"])
    except GONE:
        return


def saves(bench: Bench, path: str) -> None:
    """Keep a drawer, write a sheet, make a pack, and again."""
    parts = "".join(f"resistor,{kilohms}k,1\n" for kilohms in range(1, 201))
    try:
        while True:
            bench.send("PUT", path + "/stock", f"type,value,count\n{parts}".encode(), "text/csv")
            bench.send("POST", path + "/tasks/sheet", b"{}")
            bench.send("POST", path + "/tasks/pack", b'{"light": true}')
    except GONE:
        return


@pytest.mark.slow
@pytest.mark.parametrize("kills", [2, pytest.param(100, marks=pytest.mark.thorough)])
def test_killed_at_any_instant_nothing_acknowledged_is_lost(tmp_path: Path, kills: int) -> None:
    chance = random.Random(kills)
    for _ in range(kills):
        known: list[int] = []
        with at_work(tmp_path) as bench:
            path = "/api/jobs/one" if (tmp_path / "one").exists() else begun(bench)
            work = (edits, (bench, path, known)), (saves, (bench, path))
            hands = [threading.Thread(target=does, args=given) for does, given in work]
            for hand in hands:
                hand.start()
            time.sleep(chance.choice((0.05, 0.6, 6.0)) * chance.uniform(0.1, 1.0))
            bench.process.kill()
            for hand in hands:
                hand.join(30)
        # What was made is whole, or the one before.
        for made in (tmp_path / "one" / "made").glob("*"):
            assert made.suffix != ".zip" or zipfile.ZipFile(made).testzip() is None
        drawer = tmp_path / "one" / "stock.csv"
        assert not drawer.exists() or len(ps.stock(drawer).lines) == 200
        now = jobs.newest(tmp_path / "one")
        assert now.number >= max(known, default=1)
        # At most the one that was under way came to be besides.
        assert now.number <= max(known, default=now.number) + 1
        assert jobs.situations_of(tmp_path / "one", now)
        assert (tmp_path / "one" / "rig.toml").read_text("utf-8") == now.rig
        left = [one.name for one in (tmp_path / "one").rglob(".*")]
        # Of each hand one thing at most was under way.
        assert len(left) <= 2 * kills


@pytest.mark.slow
def test_a_full_disk_leaves_the_job_as_it_was(tmp_path: Path) -> None:
    with at_work(tmp_path) as bench:
        path, no_limit = begun(bench), resource.RLIM_INFINITY
        resource.prlimit(bench.process.pid, resource.RLIMIT_FSIZE, (100, no_limit))
        told = {"version": 1, "key": "cable.length", "answer": "9 m"}
        status, said = bench.ask("PUT", path, told)
        assert status == 400
        assert "cannot be written" in said["error"]
        resource.prlimit(bench.process.pid, resource.RLIMIT_FSIZE, (no_limit, no_limit))
        assert bench.ask("GET", path)[1]["version"] == 1
        assert bench.ask("PUT", path, told)[0] == 200
    assert list(tmp_path.rglob(".*")) == []


@pytest.mark.slow
def test_a_folder_that_is_taken_away_is_said_to_be(tmp_path: Path) -> None:
    with at_work(tmp_path / "bench") as bench:
        path = begun(bench)
        shutil.rmtree(tmp_path / "bench" / "one")
        assert bench.ask("GET", path)[0] == 404
        shutil.rmtree(tmp_path / "bench")
        status, said = bench.ask("GET", "/api/jobs")
        assert status == 400
        assert "cannot be read" in said["error"]


@pytest.mark.slow
def test_a_folder_that_has_become_read_only_is_said_to_be(tmp_path: Path) -> None:
    """And goes on being shown; root may write everywhere, unless that is taken from it."""
    caps = "-dac_override,-dac_read_search"
    under = () if os.geteuid() else ("setpriv", f"--bounding-set={caps}", f"--inh-caps={caps}")
    with at_work(tmp_path / "bench", under=under) as bench:
        path = begun(bench)
        told = {"version": 1, "key": "cable.length", "answer": "9 m"}
        job = tmp_path / "bench" / "one"
        folders = (job / "history", job)
        for folder in folders:
            folder.chmod(0o500)
        try:
            status, said = bench.ask("PUT", path, told)
            assert status == 400 and "cannot be written" in said["error"]
            status, said = bench.ask("GET", path)
            assert (status, said["version"]) == (200, 1)
        finally:
            for folder in folders:
                folder.chmod(0o700)
        assert bench.ask("PUT", path, told)[1]["version"] == 2


@pytest.mark.thorough
def test_a_guitars_own_folder_is_where_it_begins(tmp_path: Path) -> None:
    folder = tmp_path / "the blue one"
    folder.mkdir()
    (folder / "rig.toml").write_bytes(built_in_rigs()["single-coil-250k"].read_bytes())
    with at_work(folder, entered=False) as bench:
        with bench.opener.open(bench.address, timeout=30) as answer:
            assert "url=/guitars/the%20blue%20one/guitar" in answer.read().decode()
        assert [one["name"] for one in bench.ask("GET", "/api/jobs")[1]["jobs"]] == [folder.name]


@pytest.mark.thorough
def test_what_an_editor_spoiled_is_said_and_taken_back(tmp_path: Path) -> None:
    with at_work(tmp_path) as bench:
        path = begun(bench)
        for file, text in (("job.toml", "title = ["), ("rig.toml", "[pickup]")):
            (tmp_path / "one" / file).write_text(text, "utf-8")
            status, told = bench.ask("GET", path)
            assert status == 200
            assert file in told["fault"]
            version = {"version": told["version"]}
            assert bench.ask("POST", f"{path}/undo/step", version)[1]["fault"] == ""


@pytest.mark.thorough
def test_two_benches_over_one_folder_hear_of_each_other(tmp_path: Path) -> None:
    with at_work(tmp_path) as one, at_work(tmp_path) as other:
        path = begun(one)
        told = {"version": 1, "key": "cable.length", "answer": "9 m"}
        assert other.ask("PUT", path, told)[0] == 200
        status, said = one.ask("PUT", path, told | {"answer": "3 m"})
        assert status == 409
        assert "Cable length: 9 m" in said["error"]


@pytest.mark.slow
def test_work_that_nobody_waits_for_ends(tmp_path: Path) -> None:
    with at_work(tmp_path) as bench:
        path = begun(bench)
        children = Path(f"/proc/{bench.process.pid}/task/{bench.process.pid}/children")
        request = f"POST {path}/tasks/listen HTTP/1.1\r\nHost: {bench.host}\r\nCookie: "
        request += f"{bench.cookie}\r\nOrigin: {bench.base}\r\nContent-Type: application/json\r\n"
        with socket.create_connection(bench.host.split(":"), timeout=30) as line:
            line.sendall(f"{request}Content-Length: 2\r\n\r\n{{}}".encode())
            assert soon(lambda: bool(at_it(children)))
        # It would take three seconds, and says nothing on the way.
        assert soon(lambda: not at_it(children), within_s=1.0)


def soon(true: Callable[[], bool], within_s: float = 5.0) -> bool:
    """Whether something comes to be."""
    for _ in range(round(within_s / 0.05)):
        if true():
            return True
        time.sleep(0.05)
    return False


@pytest.mark.slow
def test_ctrl_c_ends_it_in_the_middle_of_work(tmp_path: Path) -> None:
    with at_work(tmp_path) as bench:
        path = begun(bench)
        hand = threading.Thread(target=worked, args=(bench, f"{path}/tasks/listen"))
        hand.start()
        time.sleep(0.7)
        os.killpg(bench.process.pid, signal.SIGINT)
        assert bench.process.wait(15) == 0
        hand.join(30)
        assert bench.process.stderr is not None
        assert bench.process.stderr.read() == ""
    assert list((tmp_path / "one").rglob(".*")) == []


def worked(bench: Bench, path: str) -> None:
    """Ask for work that is not waited out."""
    try:
        bench.work(path, {})
    except (OSError, http.client.HTTPException, ValueError, AssertionError):
        return


def at_it(children: Path) -> list[str]:
    """What the bench's own children have forked: the work."""
    found = []
    for child in children.read_text("ascii").split():
        inside = Path(f"/proc/{child}/task/{child}/children")
        if inside.exists():
            found += inside.read_text("ascii").split()
    return found


_WORDS = (
    "one", "..", ".", "%2e%2e", "%00", "a b", "ü", "x" * 300, "made", "takes", "work", "need",
    "history", "rig.toml", "undo", "step", "-1", "1e9", "/etc/passwd", "\\..\\", "made/pack.zip",
)  # fmt: skip
_PATHS = (
    "/", "/guitars/{0}/{1}", "/{0}.css", "/script/{0}.js", "/api/jobs", "/api/order",
    "/api/jobs/{0}", "/api/jobs/one", "/api/jobs/one/{0}/step", "/api/jobs/one/drawn?situation={0}",
    "/api/jobs/one/takes/{0}", "/api/jobs/one/stock", "/api/jobs/one/answer",
    "/api/jobs/one/reading", "/api/jobs/one/made/{0}", "/api/jobs/{0}/tasks/{1}",
)  # fmt: skip
_VALUES: tuple[object, ...] = (
    None, True, 0, 1, -1, 10**30, 1.5, "", "one", "volume.resistance", "1k || 1n", "?", "250k",
    "\x00", "\ud800", [], ["x"], [1], {}, {"a": {"b": []}}, "[", "title = 1", "x" * 5000, "∞",
)  # fmt: skip
_KEYS = (
    "version", "key", "answer", "toml", "told", "values", "title", "from", "answers", "pot",
    "step", "ohms", "situation", "designs", "takes", "recorded", "design", "notes", "done",
    "readings", "archived", "workshop", "pickup",
)  # fmt: skip


def nonsense(chance: random.Random) -> tuple[str, str, bytes | None, str]:
    """A request as no page makes it, or nearly as one does."""
    method = chance.choice(("GET", "PUT", "POST", "POST", "PUT", "DELETE", "PATCH"))
    words = [quote(chance.choice(_WORDS), safe="%./\\") for _ in range(2)]
    told: object = {
        chance.choice(_KEYS): chance.choice(_VALUES) for _ in range(chance.randint(0, 4))
    }
    if chance.random() < 0.4 and isinstance(told, dict):
        inner = {chance.choice(_KEYS): chance.choice(_VALUES) for _ in range(3)}
        told[chance.choice(("told", "values", "answers"))] = inner
    if chance.random() < 0.1:
        told = chance.choice(_VALUES)
    body = json.dumps(told).encode()
    if chance.random() < 0.1:
        body = chance.randbytes(chance.randint(0, 200))
    kind = chance.choice(("application/json",) * 6 + ("audio/wav", "text/csv", "", "text/html"))
    return method, chance.choice(_PATHS).format(*words), None if method == "GET" else body, kind


@pytest.mark.slow
@pytest.mark.parametrize("count", [500, pytest.param(10_000, marks=pytest.mark.thorough)])
def test_nonsense_never_breaks_it(tmp_path: Path, count: int) -> None:
    """No answer says that the bench failed, and nothing is written elsewhere."""
    inside, chance = tmp_path / "bench", random.Random(count)
    with at_work(inside) as bench:
        begun(bench)
        version = 1
        for _ in range(count):
            method, path, body, kind = nonsense(chance)
            # Half of those that change something are up to date.
            if body and b'"version"' in body and chance.random() < 0.5:
                body = json.dumps(json.loads(body) | {"version": version}).encode()
            status, said = bench.send(method, path, body, kind)
            assert status < 500, (method, path, body, said)
            if method == "PUT" and status == 200 and b'"version"' in said:
                version = json.loads(said)["version"]
        assert bench.ask("GET", "/api/jobs")[0] == 200
    assert sorted(one.name for one in tmp_path.iterdir()) == ["bench"]
