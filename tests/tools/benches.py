"""A bench at work, and a client that asks it as its own page would."""

import http.client
import http.cookiejar
import json
import re
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any


@dataclass
class Bench:
    """A server, and whoever was let in."""

    process: subprocess.Popen[str]
    address: str
    opener: urllib.request.OpenerDirector = field(repr=False)

    @property
    def base(self) -> str:
        return self.address.partition("/?")[0]

    @property
    def host(self) -> str:
        return self.base.removeprefix("http://")

    @property
    def cookie(self) -> str:
        (jar,) = (h.cookiejar for h in self.opener.handlers if hasattr(h, "cookiejar"))
        (one,) = jar
        return f"{one.name}={one.value}"

    def enter(self) -> None:
        """Use the address, once."""
        self.opener.open(self.address, timeout=30).read()

    def send(
        self,
        method: str,
        path: str,
        body: bytes | None = None,
        kind: str = "application/json",
        **headers: str,
    ) -> tuple[int, bytes]:
        """A request as the page makes it, but for what is given."""
        sent = {"Content-Type": kind, "Origin": self.base, **headers}
        request = urllib.request.Request(self.base + path, body, sent, method=method)
        try:
            with self.opener.open(request, timeout=90) as answer:
                return answer.status, answer.read()
        except urllib.error.HTTPError as refused:
            with refused:
                return refused.code, refused.read()

    def ask(self, method: str, path: str, told: object = None) -> tuple[int, dict[str, Any]]:
        """JSON for JSON."""
        body = None if told is None else json.dumps(told).encode()
        status, answer = self.send(method, path, body)
        return status, json.loads(answer)

    def work(self, path: str, told: object) -> list[dict[str, Any]]:
        """The events of some work."""
        status, answer = self.send("POST", path, json.dumps(told).encode())
        assert status == 200, answer
        return [
            json.loads(one.removeprefix("data: ")) for one in answer.decode().split("\n\n")[:-1]
        ]

    def bare(self, method: str, path: str, **headers: str) -> tuple[int, bytes]:
        """A request with these headers alone, and no cookie."""
        connection = http.client.HTTPConnection(self.host, timeout=30)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in headers.items():
                connection.putheader(name.replace("_", "-"), value)
            connection.endheaders()
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()


@contextmanager
def at_work(folder: Path, *, entered: bool = True, under: tuple[str, ...] = ()) -> Iterator[Bench]:
    """A bench over a folder, started by another command if one is given, until the block ends."""
    process = subprocess.Popen(
        [*under, sys.executable, "-m", "presolder", "bench", str(folder), "--no-open"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        said = process.stdout.readline()
        found = re.search(r"http://\S+", said)
        assert found, said + (process.stderr.read() if process.stderr else "")
        jar = http.cookiejar.CookieJar()
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
        bench = Bench(process, found[0], opener)
        if entered:
            bench.enter()
        yield bench
    finally:
        process.kill()
        process.communicate()
