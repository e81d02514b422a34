"""Writing a listening pack: archive and listening copies, a reel, and what is in it."""

import json
import os
import shutil
import zipfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from presolder.models.errors import InputError
from presolder.models.loudness import integrated_loudness
from presolder.models.merit import merit
from presolder.models.network import format_network
from presolder.models.response import decibels
from presolder.render.audio import write_audio
from presolder.render.delivery import (
    Format,
    Tags,
    comparison_reel,
    listening_ending,
    write_listening_copy,
    write_segment,
)
from presolder.render.folder import file_stems, new_file, new_folder
from presolder.render.levels import rounded_level
from presolder.render.packpieces import PackJob, Piece, heard_rig, make_pieces, voices_of
from presolder.render.page import build_page
from presolder.render.sheetfiles import sheet_page

REEL = "00_reel"
# Common practice, no source: what most mail services accept, less the growth of encoding.
MAIL_LIMIT_BYTES = 15_000_000


@dataclass(frozen=True, eq=False)
class PackFile:
    """One file of the pack before it is written."""

    stem: str
    piece: Piece
    version: str
    gain_db: float

    @property
    def audio(self) -> NDArray[np.float32]:
        """The piece's audio with this file's gain."""
        return self.piece.audio * np.float32(10.0 ** (self.gain_db / 20.0))


def plan_files(job: PackJob, pieces: list[Piece]) -> list[PackFile]:
    """Name every file: ``03_series_dial-04_matched``, ``03_series_sweep``.

    Sweeps come at true level only; a piece too quiet to be matched has no
    matched version.
    """
    stems = file_stems([design.name for design in job.designs])
    files = []
    for piece in pieces:
        head = f"{piece.design + 1:02d}_{stems[piece.design]}"
        voice = "" if piece.voice == "clean" else "_dirt"
        if piece.dial is None:
            files.append(PackFile(f"{head}_sweep{voice}", piece, "true", piece.true_gain_db))
            continue
        place = f"dial-{_padded(piece.dial)}{voice}"
        files.append(PackFile(f"{head}_{place}_true", piece, "true", piece.true_gain_db))
        if piece.matched_gain_db is not None:
            files.append(
                PackFile(f"{head}_{place}_matched", piece, "matched", piece.matched_gain_db)
            )
    return files


def _padded(dial: float) -> str:
    """Two figures before the point, so that names sort: 04, 10, 07.5."""
    whole, _, part = f"{dial:g}".partition(".")
    return f"{int(whole):02d}" + (f".{part}" if part else "")


def write_pack(
    job: PackJob,
    out: Path,
    *,
    listening: Format,
    light: bool,
    force: bool,
    progress: Callable[[int], None],
) -> dict[str, Any]:
    """Render a pack and write it as a folder, or as a zip if `out` ends in ``.zip``.

    Parameters
    ----------
    job : PackJob
        What to render.
    out : Path
        Folder or zip file.
    listening : {"mp3", "m4a"}
        Format of the listening copies, where ffmpeg is there.
    light : bool
        Leave the lossless archive copies out.
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
    if out.suffix.lower() == ".zip":
        with new_file(out, force=force) as scratch, _folder_beside(scratch) as folder:
            contents = _fill(job, folder, listening, light, progress)
            _zip(folder, scratch)
        return contents
    with new_folder(out, force=force) as folder:
        return _fill(job, folder, listening, light, progress)


def write_single_file(
    job: PackJob,
    out: Path,
    *,
    listening: Format,
    allow_large: bool,
    force: bool,
    progress: Callable[[int], None],
) -> int:
    """Render a pack and write its page alone, with the audio inside.

    Parameters
    ----------
    job, listening, force, progress
        As for `write_pack`.
    out : Path
        An HTML file.
    allow_large : bool
        Whether the page may be larger than `MAIL_LIMIT_BYTES`.

    Returns
    -------
    int
        Its size in bytes.

    Raises
    ------
    InputError
        If it is too large, or the place cannot be written.
    """
    with new_file(out, force=force) as scratch, _folder_beside(scratch) as folder:
        _fill(job, folder, listening, True, progress)
        size = (folder / "index.html").stat().st_size
        if size > MAIL_LIMIT_BYTES and not allow_large:
            raise InputError(
                f"{out}: would be {size / 1e6:.1f} MB, and mail rarely takes more than"
                f" {MAIL_LIMIT_BYTES / 1e6:.0f} MB; give fewer --design or --dials, or"
                " --allow-large"
            )
        (folder / "index.html").replace(scratch)
    return size


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
    voices = len(voices_of(job))
    positions = voices * (1 + len(job.dials))
    return positions + voices * len(job.designs) * (1 + 2 * len(job.dials))


def _fill(
    job: PackJob, folder: Path, listening: Format, light: bool, progress: Callable[[int], None]
) -> dict[str, Any]:
    rate = job.recording.sample_rate_hz
    files = plan_files(job, make_pieces(job, progress))
    ending = listening_ending(listening)
    (folder / "listen").mkdir()
    if not light:
        (folder / "archive").mkdir()

    def write(file: PackFile) -> dict[str, Any]:
        audio = file.audio
        if not light:
            path = folder / "archive" / f"{file.stem}.flac"
            write_audio(path, [audio.astype(np.float64)], rate, len(audio), "24")
        tags = _tags(job, file)
        write_listening_copy(folder / "listen" / f"{file.stem}.{ending}", audio, rate, tags)
        progress(1)
        samples = audio.astype(np.float64)
        return {
            "file": file.stem,
            "design": job.designs[file.piece.design].name,
            "dial": file.piece.dial,
            "voice": file.piece.voice,
            "level": file.version,
            "gain_db": round(file.gain_db, 4),
            "sample_peak_dbfs": rounded_level(float(decibels(np.abs(samples).max()))),
            "integrated_lufs": rounded_level(integrated_loudness([samples], rate)),
        }

    # ffmpeg and FLAC encoding run outside Python, so threads use both cores.
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        written = list(pool.map(write, files))
    sweeps = [file.audio for file in files if file.piece.dial is None]
    reel_tags = Tags("all designs in turn", "all", "sweep", job.rig.name)
    write_segment(folder / "listen" / f"{REEL}.{ending}", comparison_reel(sweeps, rate), reel_tags)
    contents = {
        "presolder": version("presolder"),
        "take": job.recording.name,
        "rig": job.rig.name,
        "workshop": job.workshop,
        "note": job.note,
        "listening_copies": ending,
        "archive_copies": None if light else "flac",
        "designs": [
            {
                "name": d.name,
                "title": d.title,
                "expression": format_network(d.network) or None,
                "figures": asdict(merit(heard_rig(job), d.network)),
            }
            for d in job.designs
        ],
        "reel": REEL,
        "files": written,
    }
    _write_sheets(job, folder / "sheets")
    page = build_page(job, _page_copies(job, folder / "listen", files, ending))
    (folder / "index.html").write_text(page, encoding="utf-8")
    text = json.dumps(contents, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    (folder / "pack.json").write_text(text, encoding="utf-8")
    return contents


def _write_sheets(job: PackJob, folder: Path) -> None:
    """A parts and wiring sheet for every design that needs soldering."""
    stems = file_stems([design.name for design in job.designs])
    folder.mkdir()
    for number, (design, stem) in enumerate(zip(job.designs, stems, strict=True), start=1):
        if design.network is not None:
            page = sheet_page(heard_rig(job), design, job.workshop)
            (folder / f"{number:02d}_{stem}.html").write_text(page, encoding="utf-8")


def _page_copies(
    job: PackJob, listen: Path, files: list[PackFile], ending: str
) -> list[dict[str, Any]]:
    """The listening copy that the page plays for each piece, with its gains.

    Held pieces are taken at matched level, where quiet ones have been coded
    with the most bits to spare; the page turns them down to true level.
    """
    chosen = {id(file.piece): file for file in files if file.version == "true"}
    chosen |= {id(file.piece): file for file in files if file.version == "matched"}
    copies = []
    for file in chosen.values():
        piece = file.piece
        matched_db = piece.true_gain_db if piece.matched_gain_db is None else piece.matched_gain_db
        copies.append(
            {
                "design": piece.design,
                "dial": None if piece.dial is None else float(f"{piece.dial:g}"),
                "voice": piece.voice,
                "seconds": piece.audio.shape[1] / job.recording.sample_rate_hz,
                "trueDb": piece.true_gain_db - file.gain_db,
                "matchedDb": matched_db - file.gain_db,
                "audio": (listen / f"{file.stem}.{ending}").read_bytes(),
            }
        )
    return copies


def _tags(job: PackJob, file: PackFile) -> Tags:
    design = job.designs[file.piece.design].name
    dial = "sweep" if file.piece.dial is None else f"{file.piece.dial:g}"
    voice = "" if file.piece.voice == "clean" else ", dirt"
    place = "sweep" if file.piece.dial is None else f"dial {dial}, {file.version} level"
    return Tags(f"{design}: {place}{voice}", design, dial, job.rig.title or job.rig.name)


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
