"""The batch command: many jobs from one file."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.render.commands.examples import examples
from presolder.render.commands.options import json_option
from presolder.render.commands.output import progress_on_terminal, say

NOT_ALL_DONE = 3


@click.command(
    epilog=examples(
        "presolder batch year.toml --out year",
        "presolder batch year.toml --out year --jobs 4 --json",
        "presolder batch year.toml --out /shared/year --cluster tcp://10.0.0.5:8786",
    )
)
@click.argument("jobs_file", metavar="JOBS.toml", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path), required=True,
    help="Put the results into this folder; what is finished there is kept.",
)  # fmt: skip
@click.option(
    "--jobs", "workers", type=click.IntRange(1, 256),
    help="Run so many at once. [default: one a core]",
)  # fmt: skip
@click.option(
    "--cluster", metavar="ADDRESS",
    help="Dask scheduler whose workers run them instead, such as tcp://10.0.0.5:8786.",
)  # fmt: skip
@json_option
@click.pass_context
def batch(
    context: click.Context,
    jobs_file: Path,
    out: Path,
    workers: int | None,
    cluster: str | None,
    as_json: bool,
) -> None:
    """Run many jobs: rigs, takes, designs and commands that a file lists.

    Run it again to go on where it was stopped. Exit status: 0 all are done, 3 some failed
    or are with another run.
    """
    if workers is not None and cluster is not None:
        raise InputError(
            "--jobs and --cluster exclude each other; a cluster has workers of its own"
        )
    with progress_on_terminal("jobs") as progress:
        report = ps.batch(jobs_file, out, workers=workers, cluster=cluster, progress=progress)
    say(report, as_json)
    if not report.well:
        context.exit(NOT_ALL_DONE)
