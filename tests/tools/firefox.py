"""Debian's Firefox over its own remote protocol, Marionette: no driver has to be installed."""

import json
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

_PORT = 2828
_PREFERENCES = """
user_pref("marionette.port", {port});
user_pref("media.autoplay.default", 0);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("toolkit.telemetry.reportingpolicy.firstRun", false);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("app.update.enabled", false);
"""


class Firefox:
    """A running one."""

    def __init__(self, connection: socket.socket) -> None:
        self.connection = connection
        self.count = 0
        self._read()
        self.call("WebDriver:NewSession", {})

    def _read(self) -> Any:
        size = b""
        while not size.endswith(b":"):
            size += self.connection.recv(1)
        text = b""
        while len(text) < int(size[:-1]):
            text += self.connection.recv(1 << 16)
        return json.loads(text)

    def call(self, command: str, given: dict[str, Any]) -> Any:
        self.count += 1
        text = json.dumps([0, self.count, command, given]).encode()
        self.connection.sendall(str(len(text)).encode() + b":" + text)
        _, _, error, found = self._read()
        assert error is None, error
        return found

    def go(self, url: str) -> None:
        self.call("WebDriver:Navigate", {"url": url})

    def run(self, body: str) -> Any:
        """What the body of an asynchronous function returns, run in the page."""
        script = (
            "const done = arguments[arguments.length - 1];"
            f"(async () => {{ {body} }})().then(done, (e) => done(`failed: ${{e}}`));"
        )
        given = {"script": script, "args": [], "sandbox": None, "newSandbox": False}
        return self.call("WebDriver:ExecuteAsyncScript", given)["value"]


@contextmanager
def silent_sink(folder: Path) -> Iterator[Path]:
    """A sound server whose only output is silence, for machines without one; gives its socket."""
    place = folder / "sound"
    process = subprocess.Popen(
        [
            "pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--load=module-null-sink",
            f"--load=module-native-protocol-unix auth-anonymous=1 socket={place}",
        ],
        env={"HOME": str(folder), "XDG_RUNTIME_DIR": str(folder), "PATH": "/usr/bin:/bin"},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        for _ in range(100):
            if place.exists():
                break
            time.sleep(0.05)
        yield place
    finally:
        process.kill()
        process.wait()


@contextmanager
def firefox(profile: Path, sound: Path) -> Iterator[Firefox]:
    """Start one with a profile of its own, and stop it afterwards."""
    program = shutil.which("firefox-esr") or shutil.which("firefox")
    assert program is not None
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    (profile / "user.js").write_text(_PREFERENCES.format(port=port))
    process = subprocess.Popen(
        [program, "--headless", "--no-remote", "--marionette", "--profile", str(profile)],
        env={"HOME": str(profile), "PATH": "/usr/bin:/bin", "MOZ_HEADLESS": "1", "PULSE_SERVER": f"unix:{sound}"},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        for _ in range(300):
            try:
                connection = socket.create_connection(("127.0.0.1", port), timeout=60)
                break
            except OSError:
                time.sleep(0.1)
        with connection:
            yield Firefox(connection)
    finally:
        process.kill()
        process.wait()
