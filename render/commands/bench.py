"""The bench command: the whole job in a browser, on this machine alone."""

import signal
import socket
import tempfile
from contextlib import suppress
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

import click

from presolder.models.errors import InputError
from presolder.render.commands.examples import examples
from presolder.render.commands.options import jobs_option, json_option
from presolder.render.commands.output import open_page, say_json
from presolder.render.files.rig_file import RIG_FILE

if TYPE_CHECKING:
    import uvicorn

_PORTS = (8765, 8785)


@click.command(
    epilog=examples(
        "presolder bench",
        "presolder bench customers",
        "presolder bench customers --no-open --port 9000",
    )
)
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), default="guitars")
@click.option("--open/--no-open", "opens", default=True, help="Open the browser, or only tell.")
@click.option(
    "--port", type=click.IntRange(1024, 65535), help="Answer at this port.  [default: a free one]"
)
@jobs_option
@json_option
def bench(folder: Path, opens: bool, port: int | None, as_json: bool) -> None:
    """Do the whole job in a browser: guitar, listening, choice, soldering, proof.

    FOLDER (guitars) holds a folder for each guitar, which all commands read
    too, as --rig FOLDER/NAME; or it is one of these, and comes first. Only
    this machine is answered. Ctrl-C ends it.
    """
    # Here, since a browser is only waited for by those who want one.
    import uvicorn  # noqa: PLC0415

    from presolder.render.bench.guard import Guard  # noqa: PLC0415
    from presolder.render.bench.routes import application  # noqa: PLC0415
    from presolder.render.bench.working import make_ready  # noqa: PLC0415

    begins_at = "/"
    if (folder / RIG_FILE).is_file():
        # One guitar's own folder: the bench is where it lies, and begins with it.
        folder = folder.resolve()
        folder, begins_at = folder.parent, f"/guitars/{quote(folder.name)}/guitar"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be made: {error.strerror}") from None
    with _listening(port) as listener:
        own_port = listener.getsockname()[1]
        app = application(folder.resolve(), lambda: _end(server), lambda: server.should_exit)
        guard = Guard(app, own_port, begins_at)
        config = uvicorn.Config(
            guard, log_level="warning", access_log=False, server_header=False,
            timeout_graceful_shutdown=1,
        )  # fmt: skip
        server = uvicorn.Server(config)
        if as_json:
            say_json({"folder": str(folder), "address": guard.address})
        else:
            click.echo(f"The bench over {folder} is at {guard.address}")
            click.echo("The address is good once, for one browser. Ctrl-C ends the bench.")
        make_ready()
        with tempfile.TemporaryDirectory(prefix="presolder-") as private:
            if opens:
                # By a file of the user's own: the token must not stand in a list of processes.
                page = Path(private) / "bench.html"
                url = escape(guard.address)
                page.write_text(f'<meta http-equiv="refresh" content="0;url={url}">', "utf-8")
                open_page(page, True)
            # Ctrl-C is how it ends, not how it is interrupted.
            signal.signal(signal.SIGINT, signal.default_int_handler)
            with suppress(KeyboardInterrupt):
                server.run(sockets=[listener])


def _end(server: "uvicorn.Server") -> None:
    server.should_exit = True


def _listening(port: int | None) -> socket.socket:
    """At this machine's own address only."""
    for one in range(*_PORTS) if port is None else (port,):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind(("127.0.0.1", one))
        except OSError:
            listener.close()
        else:
            # Whoever is faster than the server waits.
            listener.listen()
            return listener
    taken = f"port {port} is" if port else f"ports {_PORTS[0]} to {_PORTS[1] - 1} are"
    raise InputError(f"--port: {taken} in use; give another")
