"""Writing a listening pack: archive and listening copies, a reel, and what is in it."""

import json
import shutil
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from presolder.models.audio.positions import Piece, SignalPath, VoiceName, render_pieces
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.stages import Voice, evenly_driven
from presolder.models.cores import in_background, side_by_side
from presolder.models.errors import InputError
from presolder.models.hearing.bands import LINES_HZ
from presolder.models.hearing.material import line_powers
from presolder.models.instrument.network import Design
from presolder.models.judging.beside import beside_bare
from presolder.models.typing import Array
from presolder.render.files.audio import write_audio
from presolder.render.files.delivery import (
    Call,
    listening_ending,
    write_listening_copy,
    write_reel,
)
from presolder.render.files.folder import (
    CONTENTS,
    file_stems,
    is_zip,
    new_file,
    new_folder,
)
from presolder.render.files.tags import Tags
from presolder.render.listening.after import join
from presolder.render.listening.comparisons import Trial, comparisons, with_bare
from presolder.render.listening.copies import (
    Copies,
    PackFile,
    copying,
    page_copies,
    place_named,
    plan_files,
    situation_plain,
)
from presolder.render.listening.job import About, Dossier, Judged, PackJob, about_of
from presolder.render.listening.live import live_data
from presolder.render.listening.page import build_page
from presolder.render.report.beside import beside_plain
from presolder.render.report.judged import conditions_plain, figures_plain
from presolder.render.report.rigs import design_plain, dirt_plain
from presolder.render.report.take import null_plain

REEL = "00_reel"
# Common practice, no source: what most mail services accept, less the growth of encoding.
MAIL_LIMIT_BYTES = 15_000_000
# Of a listening copy in one channel, at the least that was measured.
_COPY_BYTES_A_SECOND = 6_000


def write_pack(
    job: PackJob, out: Path, *, force: bool, progress: Callable[[int], None]
) -> dict[str, Any]:
    """Render a pack and write it as a folder, or as a zip to a file ``.zip`` or to ``-``.

    Parameters
    ----------
    job : PackJob
        What to render.
    out : Path
        Folder or zip file.
    force : bool
        Whether existing files may be replaced.
    progress : callable
        Called with units of work done; `work_units` gives how many there are.

    Returns
    -------
    dict
        What is in the pack, as in its ``pack.json``.

    Raises
    ------
    InputError
        If the place cannot be written.
    """
    if is_zip(out):
        with new_file(out, force=force) as scratch, _folder_beside(scratch) as folder:
            contents = _fill(job, folder, progress)
            _zip(folder, scratch)
        return contents
    with new_folder(out, force=force) as folder:
        return _fill(job, folder, progress)


def write_single_file(
    job: PackJob,
    out: Path,
    *,
    force: bool,
    progress: Callable[[int], None],
) -> dict[str, Any]:
    """Render a pack and write its page alone, with the audio inside.

    Parameters
    ----------
    job, force, progress
        As for `write_pack`.
    out : Path
        An HTML file.

    Returns
    -------
    dict
        Its size in ``bytes``, and ``first`` and ``null_db`` as in ``pack.json``.

    Raises
    ------
    InputError
        If it is larger than `MAIL_LIMIT_BYTES` and may not be, or the place cannot be written.
    """
    if job.embeds and not job.contents.allow_large:
        _require_mailable(out, _embedded_bytes(job), " or so")
    with new_file(out, force=force) as scratch, _folder_beside(scratch) as folder:
        if job.embeds:
            light = replace(job.contents, light=True)
            made = _fill(replace(job, contents=light), folder, progress, alone=True)
            told = {key: made[key] for key in ("first", "null_db")}
        else:
            with in_background(lambda: about_of(job)) as judged:
                signal_paths = _live_paths(job)
                live = live_data(job, signal_paths)
            about = judged()
            told = {"first": _named(about.first), "null_db": _nulls(signal_paths)}
            page = build_page(job, about, [], live)
            (folder / "index.html").write_text(page, encoding="utf-8")
        size = (folder / "index.html").stat().st_size
        if not job.contents.allow_large:
            _require_mailable(out, size)
        (folder / "index.html").replace(scratch)
    return {"bytes": size} | told


def _require_mailable(out: Path, size: float, about: str = "") -> None:
    if size > MAIL_LIMIT_BYTES:
        raise InputError(
            f"{out}: would be {size / 1e6:.1f} MB{about}, and mail rarely takes more than"
            f" {MAIL_LIMIT_BYTES / 1e6:.0f} MB; give fewer designs or dials, or allow large pages"
        )


def _embedded_bytes(job: PackJob) -> float:
    """About how large the recordings in a page are, before they are made."""
    sweep, held = job.contents.sweep.duration_s, job.recording.duration_s
    voices = sum(1 if one.rig.dirt is None else 2 for one in job.ears)
    seconds = voices * len(job.designs) * (sweep + held * len(job.contents.held_at))
    return seconds * _COPY_BYTES_A_SECOND * 4 / 3


def _named(design: Design | None) -> str | None:
    return None if design is None else design.name


@contextmanager
def _folder_beside(scratch: Path) -> Iterator[Path]:
    """A folder on the same disk as the scratch file, gone afterwards."""
    folder = scratch.with_suffix(".parts")
    try:
        folder.mkdir()
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def work_units(job: PackJob) -> int:
    """Units that `write_pack` reports at most."""
    voices = sum(1 if one.rig.dirt is None else 2 for one in job.ears)
    positions = voices * (1 + len(job.contents.held_at))
    stairs = (
        len(job.ears) * len(job.contents.comparing.held_at) if job.contents.comparing.wanted else 0
    )
    return positions + stairs + voices * len(job.designs) * (1 + 2 * len(job.contents.held_at))


def _live_paths(job: PackJob, made: tuple[SignalPath, ...] = ()) -> tuple[SignalPath, ...]:
    """The same for the page's engine, which has one EMF for all pickups."""
    if made and job.rig.take.string is None:
        return made
    alike = [replace(one, rig=one.rig.for_any_playing) for one in job.ears]
    return _signal_paths(replace(job, ears=tuple(alike)))


def _signal_paths(job: PackJob) -> tuple[SignalPath, ...]:
    """Every situation ready to be rendered."""
    rate = job.recording.sample_rate_hz
    first = Renderer(job.rig, job.designs, rate)
    # By places along a string, what is switched on makes another EMF.
    shared = first.filters if job.rig.take.string is None else None
    renderers = (
        first,
        *(Renderer(one.rig, job.designs, rate, shared) for one in job.ears[1:]),
    )
    return tuple(
        SignalPath(renderer, job.after.loaded(one.rig.dirt, rate))
        for renderer, one in zip(renderers, job.ears, strict=True)
    )


def _nulls(signal_paths: tuple[SignalPath, ...]) -> list[dict[str, Any]] | None:
    """How well the take, which all situations share, comes out as it went in."""
    return null_plain(signal_paths[0].renderer.null_db)


def _fill(
    job: PackJob,
    folder: Path,
    progress: Callable[[int], None],
    *,
    alone: bool = False,
) -> dict[str, Any]:
    """Write everything; a page that will stand alone names nothing beside it."""
    signal_paths = _signal_paths(job)
    pieces = render_pieces(
        signal_paths, job.recording.samples, job.contents.sweep, job.contents.held_at, progress
    )
    files = plan_files(job, pieces)
    ending = listening_ending(job.contents.listening)
    _make_rooms(job, folder)
    # While files are encoded, which needs little of the interpreter, the rest is worked out.
    with in_background(
        partial(_write_recordings, job, folder, files, ending, progress)
    ) as recordings:
        about = about_of(job)
        # What is soldered is the same in all situations.
        _write_sheets(about.judged[0].dossiers, folder / "sheets")
        live = live_data(job, _live_paths(job, signal_paths))
        written, reels = recordings()
    trials = _write_trials(job, folder, ending, progress)
    copies = page_copies(job, folder / "listen", files, ending) if job.embeds else []
    reel = "" if alone else f"listen/{job.rooms[0]}{REEL}.{ending}"
    page = build_page(job, about, copies, live, reel)
    (folder / "index.html").write_text(page, encoding="utf-8")
    contents = _contents(job, about, written, reels, ending)
    contents["null_db"] = _nulls(signal_paths)
    contents["beside_bare"] = _beside_bare(job, pieces)
    if trials:
        contents["comparisons"] = {"dials": list(job.contents.comparing.held_at), "files": trials}
    text = json.dumps(contents, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    (folder / CONTENTS).write_text(text, encoding="utf-8")
    return contents


def _beside_bare(job: PackJob, pieces: Sequence[Piece]) -> list[dict[str, Any]]:
    """Every design in every voice of every situation beside the bare pot at the dials held."""
    bare = next((i for i, design in enumerate(job.designs) if design.network is None), None)
    if bare is None:
        return []
    rate, held = job.recording.sample_rate_hz, job.contents.held_at
    kept: dict[tuple[int, VoiceName], list[Piece]] = {}
    for piece in pieces:
        if piece.dial is not None:
            kept.setdefault((piece.situation, piece.voice), []).append(piece)

    def powers(piece: Piece) -> Array:
        return line_powers(piece.audio[0].astype(np.float64), rate)

    told = []
    for (situation, voice), some in kept.items():
        lines = np.empty((len(job.designs), len(held), LINES_HZ.size))
        for piece, power in zip(some, side_by_side(powers, some), strict=True):
            lines[piece.design, held.index(piece.dial or 0.0)] = power
        level_db = job.ears[situation].conditions.listening_level_db
        found = beside_bare(lines, bare, held, level_db)
        told += [
            situation_plain(job, situation)
            | {"voice": voice, "design": design.name}
            | beside_plain(one)
            for design, one in zip(job.designs, found, strict=True)
        ]
    return told


def _make_rooms(job: PackJob, folder: Path) -> None:
    """The folders of all recordings."""
    for room in job.rooms:
        (folder / "listen" / room).mkdir(parents=True)
        if not job.contents.light:
            (folder / "archive" / room).mkdir(parents=True)


def _write_recordings(
    job: PackJob,
    folder: Path,
    files: list[PackFile],
    ending: str,
    progress: Callable[[int], None],
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """All copies and reels, and what they are; encoders run outside Python, on all cores."""
    # The longest first, so that none of them is left to one core at the end.
    reels = [partial(_write_reel, job, folder, ending, files, one) for one in range(len(job.rooms))]
    copies = copying(job, folder, files, ending, progress)
    tasks: list[Callable[[], Any]] = [*reels, *copies]
    made = list(side_by_side(_done, tasks))
    told: Copies = [one for some in made[len(reels) :] for one in some]
    return [about for _, about in sorted(told, key=lambda one: one[0])], made[: len(reels)]


def _done(task: Callable[[], Any]) -> Any:  # noqa: ANN401
    return task()


def _write_reel(
    job: PackJob, folder: Path, ending: str, files: list[PackFile], situation: int
) -> dict[str, Any]:
    """All sweeps of a situation in turn, each a chapter."""
    room = job.rooms[situation]
    sweeps = [
        file for file in files if file.piece.dial is None and file.piece.situation == situation
    ]
    titles = [
        job.designs[file.piece.design].name + ("" if file.piece.voice == "clean" else ", dirt")
        for file in sweeps
    ]
    tags = Tags(
        "all designs in turn", "all", "sweep", place_named(job, situation), job.contents.workshop
    )
    path = folder / "listen" / room / f"{REEL}.{ending}"
    audio = [file.audio for file in sweeps]
    calls = [Call(file.piece.design + 1) for file in sweeps] if job.contents.beeps else []
    chapters = write_reel(path, audio, titles, job.recording.sample_rate_hz, tags, calls)
    return {"reel": f"{room}{REEL}", "reel_chapters": chapters}


def _write_trials(
    job: PackJob, folder: Path, ending: str, progress: Callable[[int], None]
) -> list[dict[str, Any]]:
    """Stairs and A/B recordings, with a reel of the stairs; through the dirt, if there is any."""
    if not job.contents.comparing.wanted:
        return []
    designs = with_bare(job.designs)
    voices = evenly_driven([join(job.recording, one.rig, designs, job.after) for one in job.ears])
    return [
        situation_plain(job, situation) | entry
        for situation, heard in enumerate(voices)
        for entry in _trials_of(job, situation, heard, folder, ending, progress)
    ]


def _trials_of(
    job: PackJob,
    situation: int,
    heard: Voice,
    folder: Path,
    ending: str,
    progress: Callable[[int], None],
) -> list[dict[str, Any]]:
    """Those of one situation."""
    rate, rig = job.recording.sample_rate_hz, place_named(job, situation)
    room, designs = job.rooms[situation], heard.renderer.designs
    stems = dict(zip(designs, file_stems([design.name for design in designs]), strict=True))
    entries: list[dict[str, Any]] = []
    reel: list[tuple[str, Array, Call]] = []
    for trial in comparisons(heard, job.recording.samples, job.contents.comparing, progress):
        number, audio = designs.index(trial.design) + 1, trial.strip.audio
        stem = f"{room}{number:02d}_{stems[trial.design]}_{trial.kind.replace('_', '-')}"
        title = f"{trial.design.name}: {trial.said}"
        tags = Tags(title, trial.design.name, "stairs", rig, job.contents.workshop)
        if not job.contents.light:
            path = folder / "archive" / f"{stem}.flac"
            write_audio(path, [audio], rate, len(audio), "24", tags)
        write_listening_copy(folder / "listen" / f"{stem}.{ending}", audio, rate, tags)
        entries.append(trial.plain(stem))
        if trial.kind == "stairs":
            reel += _called(job, trial, number, rate)
    if reel:
        tags = Tags("all designs, dial by dial", "all", "stairs", rig, job.contents.workshop)
        path = folder / "listen" / room / f"{REEL}_stairs.{ending}"
        titles, pieces, calls = zip(*reel, strict=True)
        write_reel(path, pieces, titles, rate, tags, calls if job.contents.beeps else ())
    return entries


def _called(job: PackJob, trial: Trial, number: int, rate: int) -> list[tuple[str, Array, Call]]:
    """Stairs as the reel has them: in one piece, or with beeps a piece a dial."""
    name, strip = trial.design.name, trial.strip
    if not job.contents.beeps:
        return [(name, strip.audio, Call(number))]
    starts = [round(start * rate) for start in strip.starts_s[1:]]
    pieces = np.split(strip.audio, starts, axis=1)
    dials = job.contents.comparing.held_at
    return [
        (f"{name} at {dial:g}", piece, Call(number, dial))
        for dial, piece in zip(dials, pieces, strict=True)
    ]


def _contents(
    job: PackJob,
    about: About,
    written: list[dict[str, Any]],
    reels: list[dict[str, Any]],
    ending: str,
) -> dict[str, Any]:
    places = [_situation(one) for one in about.judged]
    designs = [design_plain(design) for design in job.designs]
    if len(job.ears) > 1:
        judged: dict[str, Any] = {
            "designs": designs,
            "situations": [
                {"name": one.name, "weight": one.weight} | place | reel
                for one, place, reel in zip(job.ears, places, reels, strict=True)
            ],
        }
    else:
        (place,), (reel,) = places, reels
        figures = place.pop("figures")
        judged = place | {
            "designs": [one | {"figures": figures[one["name"]]} for one in designs],
            **reel,
        }
    return {
        "presolder": version("presolder"),
        "take": job.recording.name,
        "rig": job.rig.name,
        "workshop": job.contents.workshop,
        "note": job.contents.note,
        "first": _named(about.first),
        "listening_copies": ending,
        "archive_copies": None if job.contents.light else "flac",
        **judged,
        "files": written,
    }


def _situation(one: Judged) -> dict[str, Any]:
    """How a situation was judged, what it feeds, and each design's figures."""
    ear, dirt = one.ear, one.ear.rig.dirt
    return {
        "judged_by": conditions_plain(ear),
        "dirt": None
        if dirt is None
        else dirt_plain(dirt) | {"pickup_output_volts": ear.rig.output_volts},
        "figures": {its.design.name: figures_plain(its.figures) for its in one.dossiers},
    }


def _write_sheets(about: tuple[Dossier, ...], folder: Path) -> None:
    """A parts and wiring sheet for every design that needs soldering."""
    stems = file_stems([dossier.design.name for dossier in about])
    folder.mkdir()
    for number, (dossier, stem) in enumerate(zip(about, stems, strict=True), start=1):
        if dossier.design.network is not None:
            page = dossier.sheet.page()
            (folder / f"{number:02d}_{stem}.html").write_text(page, encoding="utf-8")


def _zip(folder: Path, out: Path) -> None:
    """Store the folder under a top folder of its own; audio does not shrink further."""
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                # A fixed time stamp keeps the archive the same from run to run.
                name = f"listening-pack/{path.relative_to(folder).as_posix()}"
                entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
                entry.external_attr = 0o644 << 16
                archive.writestr(entry, path.read_bytes())
