"""The command line's entry point: commands together, errors as one line."""

import sys

import click

from presolder.models.errors import InputError
from presolder.render import (
    cmd_cleanup,
    cmd_compare,
    cmd_curves,
    cmd_lists,
    cmd_need,
    cmd_pack,
    cmd_pickup,
    cmd_render,
    cmd_sheet,
    cmd_tailor,
    cmd_verify,
)
from presolder.render.tables import one_line


def main() -> None:
    """Entry point: every user error becomes one line and exit code 2."""
    try:
        cli.main(standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
    except (click.Abort, KeyboardInterrupt):
        click.echo("presolder: interrupted; nothing was written", err=True)
        sys.exit(130)
    except click.ClickException as error:
        click.echo(f"presolder: {one_line(error.format_message())}", err=True)
        sys.exit(2)
    except InputError as error:
        click.echo(f"presolder: {one_line(str(error))}", err=True)
        sys.exit(2)
    except BrokenPipeError:
        # The reader (head, a pager) has had enough; that is no error of ours.
        sys.stderr.close()
        sys.exit(0)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="presolder", prog_name="presolder")
def cli() -> None:
    """Hear a volume-control modification before anyone heats an iron."""


for _command in (
    cmd_render.render,
    cmd_render.demo,
    cmd_pack.pack,
    cmd_need.need_command,
    cmd_compare.compare_command,
    cmd_tailor.tailor_command,
    cmd_curves.curves,
    cmd_sheet.sheet_command,
    cmd_pickup.pickup,
    cmd_verify.verify_command,
    cmd_cleanup.cleanup,
    cmd_lists.list_designs,
    cmd_lists.list_rigs,
):
    cli.add_command(_command)
