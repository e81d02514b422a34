"""What all commands print: reports, JSON, and progress on a terminal."""

import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

import click

from presolder.models.errors import InputError
from presolder.models.instrument.rig import Rig
from presolder.render import SCHEMA
from presolder.render.commands.remarks import progress_is_seen, remark, terminal_width
from presolder.render.files.ffmpeg import NO_FFMPEG_NOTE
from presolder.render.files.folder import new_file, require_free_file
from presolder.render.files.standard import STANDARD, comes_by_pipe
from presolder.render.files.take import Take
from presolder.render.report.beside import BESIDE_EXPLAINED, beside_table
from presolder.render.report.table import Block, Report, lines_of
from presolder.render.report.take import null_remark, remarks

LISTENING_CAUTION = (
    "Start playback quiet and raise it slowly: designs differ in level,"
    " and loud sound harms hearing."
)

_TRIALS = {
    "stairs": "the phrase at one dial after the other",
    "ab_true": "bare, design, bare at each dial, at true loudness",
    "ab_matched": "the same, all as loud as at 10",
}


def say(report: Report, as_json: bool) -> None:
    """Print a report for people, or for programs."""
    if as_json:
        say_json(report.plain())
    else:
        say_blocks(report.blocks())


def say_blocks(blocks: Iterable[Block], *, err: bool = False) -> None:
    """Print sentences and tables, no wider than the terminal; into a pipe, each on its line."""
    width = terminal_width(sys.stderr if err else sys.stdout)
    # No colour alone tells anything: heads stand first, too.
    emphasis = str if width is None or "NO_COLOR" in os.environ else _bold
    click.echo("\n".join(lines_of(blocks, width, emphasis)), err=err)


def _bold(text: str) -> str:
    return click.style(text, bold=True)


def open_page(page: Path, wanted: bool) -> None:
    """Show a page in the browser, if that is wanted."""
    # Here, so that only who asks waits for it.
    import webbrowser  # noqa: PLC0415

    if wanted and not webbrowser.open(page.resolve().as_uri()):
        remark(f"presolder: no browser opens; open {page} yourself")


def say_json(values: dict[str, Any]) -> None:
    """Print plain values as JSON, in ASCII so that any terminal takes it."""
    click.echo(json.dumps({"schema": SCHEMA} | values, indent=2, allow_nan=False))


@contextmanager
def new_text(path: Path, *, force: bool) -> Iterator[TextIO]:
    """Open a text file that appears whole or not at all.

    Raises
    ------
    InputError
        If it exists and `force` is not given, or cannot be written.
    """
    with new_file(path, force=force) as scratch, scratch.open("w", encoding="utf-8") as file:
        yield file


@contextmanager
def progress_on_terminal(label: str) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on standard error, silent when that is not a terminal.

    Yields
    ------
    callable
        Called with steps done since the last call, and all there are.
    """
    with click.progressbar(
        length=1, label=label, file=sys.stderr, hidden=not progress_is_seen(sys.stderr.isatty())
    ) as bar:

        def told(done: int, total: int) -> None:
            bar.length = total
            bar.update(done)

        yield told


def only_this(as_json: bool, *, force: bool, **files: Path | None) -> bool:
    """Whether a file is sent to standard output, where nothing else may then go.

    Asked before any work, it also sees whether the files may be written.

    Parameters
    ----------
    as_json : bool
        Whether numbers go there.
    force : bool
        Whether files that exist may be replaced.
    **files : Path or None
        By the option's name.

    Raises
    ------
    InputError
        If two things would go there, or a file may not be written.
    """
    there = [f"--{option} -" for option, file in files.items() if file == STANDARD]
    there += ["--json"] * as_json
    if len(there) > 1:
        raise InputError(f"{' and '.join(there)} go to standard output; give one, or a file")
    for file in files.values():
        require_free_file(file, force=force)
    return bool(there) and not as_json


def default_out(take: Path, ending: str) -> Path:
    """A folder named after the take, where none is given."""
    return Path(f"{'take' if comes_by_pipe(take) else take.stem}-{ending}")


def warn_of(take: Take, rig: Rig) -> None:
    """Say what was left out of a take, and what is wrong with it, on standard error."""
    if take.cut:
        remark(f"presolder: {take.name}: {take.cut}")
    for said in remarks(take, rig):
        remark(f"presolder: {take.name}: {said}")


def _warn_of_nulls(null_db: list[dict[str, Any]] | None) -> None:
    if (said := null_remark(null_db)) is not None:
        remark(f"presolder: {said}")


def say_rendered(manifest: dict[str, Any], out: Path, as_json: bool) -> None:
    """Say what a render made, or print its manifest."""
    places = manifest.get("situations", [manifest])
    _warn_of_nulls(places[0]["input"]["null_db"])
    if as_json:
        say_json(manifest)
        remark(LISTENING_CAUTION)
        return
    for one in places:
        _say_swept(one, out / one.get("folder", ""))
    say_blocks((LISTENING_CAUTION,))


def _say_swept(manifest: dict[str, Any], out: Path) -> None:
    """One situation's files."""
    if "name" in manifest:
        say_blocks((f"situation: {manifest['name']}",))
    gain_db = manifest["output"]["gain_db"]
    files = manifest["files"]
    blocks: list[Block] = [
        f"rig: {manifest['rig']['name']}; take: {manifest['input']['fitted']};"
        f" gain for all designs: {gain_db:+.2f} dB"
    ]
    folder = (out / files[0]["file"]).parent
    table = beside_table(f"{folder}/", [(Path(one["file"]).name, one) for one in files])
    if table is None:
        blocks += [str(out / one["file"]) for one in files]
    else:
        blocks += [table, BESIDE_EXPLAINED]
    for kind, what in _TRIALS.items():
        made = [e for e in manifest.get("comparisons", {}).get("files", []) if e["kind"] == kind]
        if made:
            folder = (out / made[0]["file"]).parent
            blocks.append(f"{folder}: {what} ({len(made)} files)")
    say_blocks(blocks)


def _say_beside(entries: list[dict[str, Any]]) -> None:
    """Each design beside the bare pot: in the first situation, through its dirt if it has one."""
    first = [one for one in entries if one.get("situation") == entries[0].get("situation")]
    voice = first[-1]["voice"] if first else ""
    table = beside_table("design", [(e["design"], e) for e in first if e["voice"] == voice])
    if table is not None:
        through = "" if voice == "clean" else "Through the dirt. "
        say_blocks((table, through + BESIDE_EXPLAINED))


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def say_packed(contents: dict[str, Any], out: Path, as_json: bool, wanted: str = "mp3") -> None:
    """Say what a pack holds, or print it; and where its copies have not the format wanted."""
    _warn_of_nulls(contents["null_db"])
    ending = contents.get("listening_copies", wanted)
    if ending != wanted:
        remark(NO_FFMPEG_NOTE.format(ending=ending, wanted=wanted))
    if as_json:
        say_json(contents)
    if as_json or out == STANDARD:
        remark(LISTENING_CAUTION)
        return
    rig = contents["rig"]
    if "page" in contents:
        made = f"one page with its audio, {contents['bytes'] / 1e6:.1f} MB"
    else:
        recordings, designs = len(contents["files"]), len(contents["designs"])
        made = f"{_counted(recordings, 'recording')} of {_counted(designs, 'design')}, and a reel"
        if "situations" in contents:
            made += f" for each of {len(contents['situations'])} situations"
    say_blocks((f"{out}: {made}; rig: {rig}",))
    _say_beside(contents.get("beside_bare", []))
    say_blocks((LISTENING_CAUTION,))
