"""The rigs command: what is built in, with values."""

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.render.commands.examples import examples
from presolder.render.commands.options import json_option
from presolder.render.commands.output import say
from presolder.render.files.rig_file import built_in_rigs
from presolder.render.files.toml import nearest, read_text
from presolder.render.report.catalogue import RigList


@click.command(
    epilog=examples(
        "presolder rigs",
        "presolder rigs single-coil-250k --toml > my-guitar.toml",
    )
)
@click.argument("name", required=False)
@click.option(
    "--toml", "as_toml", is_flag=True, help="Print the rig's file, to begin your own with."
)
@json_option
def rigs(name: str | None, as_toml: bool, as_json: bool) -> None:
    """List the built-in rigs with their values, or print one's file."""
    known = built_in_rigs()
    if name is not None and name not in known:
        raise InputError(
            f"rig {name!r} is not built in; nearest: {nearest(name, known)}; one of"
            f" {', '.join(known)}"
        )
    if as_toml:
        if as_json:
            raise InputError("--toml and --json both say how to print; give one")
        if name is None:
            raise InputError(f"--toml needs the name of a rig; one of {', '.join(known)}")
        click.echo(read_text(known[name]).rstrip())
        return
    say(RigList(ps.rigs() if name is None else (ps.rig(name),)), as_json)
