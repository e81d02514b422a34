"""Attacks on the bench: from another page, another name, another user, another path."""

import json
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from benches import Bench, at_work


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    with at_work(tmp_path_factory.mktemp("bench")) as found:
        assert found.ask("POST", "/api/jobs", {"title": "one", "answers": {}})[0] == 201
        yield found


def test_a_token_is_good_once(bench: Bench) -> None:
    path = bench.address.removeprefix(bench.base)
    assert bench.bare("GET", path, Host=bench.host)[0] == 403


def test_another_user_of_the_machine_is_not_let_in(bench: Bench) -> None:
    for path in ("/", "/api/jobs", "/script/main.js", "/?token=" + "x" * 43):
        assert bench.bare("GET", path, Host=bench.host)[0] == 403
    wrong = bench.cookie[:-1] + ("a" if bench.cookie[-1] != "a" else "b")
    assert bench.bare("GET", "/api/jobs", Host=bench.host, Cookie=wrong)[0] == 403


@pytest.mark.slow
def test_the_cookie_is_kept_from_scripts_and_other_sites(tmp_path: Path) -> None:
    with at_work(tmp_path, entered=False) as bench:
        answer = bench.opener.open(bench.address, timeout=30)
        cookie = answer.headers["set-cookie"]
    assert {"HttpOnly", "SameSite=Strict"} <= {part.strip() for part in cookie.split(";")}


def test_a_name_that_leads_here_is_refused(bench: Bench) -> None:
    """DNS rebinding: another page's own name, resolved to this machine."""
    port = bench.host.partition(":")[2]
    for host in (f"evil.example:{port}", "127.0.0.1", f"127.0.0.1.evil.example:{port}", ""):
        assert bench.bare("GET", "/api/jobs", Host=host, Cookie=bench.cookie)[0] == 421
    assert bench.bare("GET", "/api/jobs", Cookie=bench.cookie)[0] in (400, 421)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost:1"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
    ],
)
@pytest.mark.parametrize("method", ["GET", "POST", "PUT"])
def test_another_page_is_refused(bench: Bench, headers: dict[str, str], method: str) -> None:
    given = {"Host": bench.host, "Cookie": bench.cookie, **headers}
    assert bench.bare(method, "/api/jobs", **given)[0] == 403


def test_a_form_of_another_page_changes_nothing(bench: Bench) -> None:
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        status, _ = bench.send("POST", "/api/jobs", b'{"title": "x", "answers": {}}', kind)
        assert status == 400
    # Without an origin, as some forms are sent, nothing is changed either.
    given = {"Host": bench.host, "Cookie": bench.cookie, "Content_Length": "2"}
    assert bench.bare("POST", "/api/stop", **given)[0] == 403


@pytest.mark.parametrize(
    "path",
    [
        "/api/jobs/..", "/api/jobs/../..", "/api/jobs/%2e%2e", "/api/jobs/%2e%2e%2f%2e%2e",
        "/api/jobs/one/made/..%2frig.toml", "/api/jobs/one/made/%2e%2e/rig.toml",
        "/api/jobs/one/made/rig.toml", "/api/jobs/one/made//etc/passwd",
        "/script/..%2f..%2frouting.js", "/script/%2e%2e/guard.js", "/..%2fpyproject.css",
        "/api/jobs/%00", "/guitars/one/hear/../../../etc/passwd",
    ],
)  # fmt: skip
def test_no_path_leads_out(bench: Bench, path: str) -> None:
    given = {"Host": bench.host, "Cookie": bench.cookie}
    assert bench.bare("GET", path, **given)[0] == 404


def test_a_take_cannot_be_put_elsewhere(bench: Bench) -> None:
    for take in ("..%2f..%2fx", "a%2fb", "%2e%2e", "a.b", "x" * 61):
        status, _ = bench.send("PUT", f"/api/jobs/one/takes/{take}", b"RIFF", "audio/wav")
        assert status in (400, 404)


def test_what_is_no_recording_is_refused_and_not_kept(bench: Bench) -> None:
    """Typed by its content, whatever it says it is."""
    status, said = bench.send("PUT", "/api/jobs/one/takes/x", b"<script>" * 100, "audio/wav")
    assert status == 400
    assert b"the recording" in said
    assert bench.send("PUT", "/api/jobs/one/takes/x", b"x", "text/html")[0] == 400
    assert bench.ask("GET", "/api/jobs/one")[1]["takes"] == []


def test_more_than_is_taken_is_refused_early(bench: Bench) -> None:
    """Of an upload of 5 GB no more is read than the limit."""
    with socket.create_connection(bench.host.split(":"), timeout=30) as line:
        head = (
            f"PUT /api/jobs/one/stock HTTP/1.1\r\nHost: {bench.host}\r\nCookie: {bench.cookie}\r\n"
            f"Origin: {bench.base}\r\nContent-Type: text/csv\r\nContent-Length: 5000000000\r\n\r\n"
        )
        line.sendall(head.encode())
        sent = 0
        try:
            while sent < 50_000_000:
                sent += line.send(b"x" * 65536)
        except OSError:
            pass
        line.settimeout(10)
        try:
            said = line.recv(4096)
        except ConnectionResetError:
            said = b"HTTP/1.1 400"
    assert b" 400 " in said
    assert sent < 20_000_000


def test_json_is_limited_too(bench: Bench) -> None:
    for body in (b"{" * 100_000, b"[1]", b"\xff", b'{"a":' + b"1" * 1_000_001 + b"}"):
        assert bench.send("POST", "/api/jobs", body)[0] == 400


def test_an_upload_that_stands_still_blocks_nobody(bench: Bench) -> None:
    with socket.create_connection(bench.host.split(":"), timeout=30) as line:
        head = (
            f"PUT /api/jobs/one/takes/slow HTTP/1.1\r\nHost: {bench.host}\r\n"
            f"Cookie: {bench.cookie}\r\nOrigin: {bench.base}\r\nContent-Type: audio/wav\r\n"
            "Content-Length: 1000\r\n\r\nRIFF"
        )
        line.sendall(head.encode())
        began = time.monotonic()
        assert bench.ask("GET", "/api/jobs")[0] == 200
        assert time.monotonic() - began < 2.0


def test_answers_say_what_a_page_may_load(bench: Bench) -> None:
    with bench.opener.open(bench.base + "/", timeout=30) as answer:
        told = answer.headers
    assert "default-src 'none'" in told["content-security-policy"]
    assert "unsafe-eval" not in told["content-security-policy"]
    assert told["x-content-type-options"] == "nosniff"
    assert told["x-frame-options"] == "SAMEORIGIN"
    assert "access-control-allow-origin" not in told


def test_it_answers_this_machine_only(bench: Bench) -> None:
    """The port is open at the loopback address and at no other."""
    port = int(bench.host.partition(":")[2])
    rows = Path("/proc/net/tcp").read_text("ascii").splitlines()[1:]
    listening = [row.split()[1] for row in rows if row.split()[3] == "0A"]
    assert [one for one in listening if one.endswith(f":{port:04X}")] == [f"0100007F:{port:04X}"]


def test_errors_are_one_line_of_json(bench: Bench) -> None:
    for method, path, told in (
        ("GET", "/api/jobs/none", None),
        ("GET", "/api/nothing", None),
        ("PUT", "/api/jobs/one", {"version": "1"}),
        ("PUT", "/api/jobs/one", {"version": 1, "key": "x.y", "answer": "1"}),
        ("PUT", "/api/jobs/one", {"version": 1, "toml": "["}),
        ("POST", "/api/jobs/one/tasks/dance", {}),
    ):
        status, said = bench.ask(method, path, told)
        assert status in (400, 404)
        assert said["error"].count("\n") == 0
        assert json.dumps(said).isascii()


def test_a_clipped_recording_is_refused_and_the_sweep_that_is_played_is_not(
    bench: Bench, tmp_path: Path
) -> None:
    """A loud one that is cut off at full scale; a low tone at a quarter of it, as the page has."""
    tone = np.sin(2 * np.pi * 40 * np.arange(48_000) / 48_000)
    for name, audio, status in (("at-10", np.clip(3 * tone, -1, 1), 400), ("sweep", tone / 4, 200)):
        soundfile.write(tmp_path / "x.wav", audio, 48_000, subtype="FLOAT")
        sent = (tmp_path / "x.wav").read_bytes()
        found, said = bench.send("PUT", f"/api/jobs/one/takes/{name}", sent, "audio/wav")
        assert found == status, said
    assert bench.ask("GET", "/api/jobs/one")[1]["takes"] == []
