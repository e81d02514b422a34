"""The files of a pack: their names, levels and tags, and the copies that its page plays."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from presolder.models.audio.loudness import integrated_loudness
from presolder.models.audio.positions import Piece
from presolder.models.cores import still_wanted
from presolder.models.decibels import amplitude, decibels
from presolder.render.files.audio import write_audio
from presolder.render.files.delivery import write_again
from presolder.render.files.folder import file_stems, padded_dial
from presolder.render.files.tags import Tags
from presolder.render.listening.job import PackJob
from presolder.render.report.numbers import rounded_level


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
        return self.piece.audio * np.float32(amplitude(self.gain_db))


def plan_files(job: PackJob, pieces: list[Piece]) -> list[PackFile]:
    """Name every file: ``03_series_dial-04_matched``, ``03_series_sweep``.

    Several situations have a folder each. Sweeps come at true level only; a
    piece too quiet to be matched has no matched version.
    """
    stems = file_stems([design.name for design in job.designs])
    files = []
    for piece in pieces:
        head = f"{job.rooms[piece.situation]}{piece.design + 1:02d}_{stems[piece.design]}"
        voice = "" if piece.voice == "clean" else "_dirt"
        if piece.dial is None:
            files.append(PackFile(f"{head}_sweep{voice}", piece, "true", piece.true_gain_db))
            continue
        where = f"dial-{padded_dial(piece.dial)}{voice}"
        files.append(PackFile(f"{head}_{where}_true", piece, "true", piece.true_gain_db))
        if piece.matched_gain_db is not None:
            files.append(
                PackFile(f"{head}_{where}_matched", piece, "matched", piece.matched_gain_db)
            )
    return files


Copies = list[tuple[int, dict[str, Any]]]


def copying(
    job: PackJob,
    folder: Path,
    files: list[PackFile],
    ending: str,
    progress: Callable[[int], None],
) -> list[Callable[[], Copies]]:
    """Write listening copies and, unless the pack is light, lossless ones, piece by piece.

    The archive holds each piece once, at true level: the matched one is that
    with another gain, which is told.

    Parameters
    ----------
    job : PackJob
    folder : Path
        With its folders ``listen`` and ``archive``.
    files : list of PackFile
    ending : str
        Of listening copies.
    progress : callable
        Called with 1 after each file.

    Returns
    -------
    list of callable
        Each writes files of one sound, and tells by its number what each of
        them is, for ``pack.json``.
    """
    rate, light = job.recording.sample_rate_hz, job.contents.light
    tracks = {id(file): number for number, file in enumerate(files, start=1)}
    kept = {id(file.piece): file for file in files if file.version == "true"}

    def write(alike: list[PackFile]) -> Copies:
        if not still_wanted():
            return []
        audio = alike[0].audio
        samples = audio.astype(np.float64)
        heard: dict[str, Any] = {
            "sample_peak_dbfs": rounded_level(float(decibels(np.abs(samples).max()))),
            "integrated_lufs": rounded_level(integrated_loudness([samples], rate)),
        }
        encoded: Path | None = None
        told: Copies = []
        for file in alike:
            tags, archived = _tags(job, file, tracks[id(file)]), kept[id(file.piece)]
            if not light and file is archived:
                path = folder / "archive" / f"{file.stem}.flac"
                write_audio(path, [samples], rate, len(audio), "24", tags)
            path = folder / "listen" / f"{file.stem}.{ending}"
            encoded = write_again(path, encoded, audio, rate, tags)
            progress(1)
            about: dict[str, Any] = {
                "file": file.stem,
                **situation_plain(job, file.piece.situation),
                "design": job.designs[file.piece.design].name,
                "dial": file.piece.dial,
                "voice": file.piece.voice,
                "level": file.version,
                "archive": None if light else archived.stem,
                "archive_gain_db": None if light else round(file.gain_db - archived.gain_db, 4),
                "gain_db": round(file.gain_db, 4),
            }
            told.append((tracks[id(file)], about | heard))
        return told

    return [partial(write, alike) for alike in _alike(files)]


def _alike(files: list[PackFile]) -> list[list[PackFile]]:
    """Files grouped by their sound: with the knob at 10 all designs are one circuit."""
    groups: dict[bytes, list[PackFile]] = {}
    for file in files:
        key = hashlib.sha256(np.ascontiguousarray(file.audio).tobytes()).digest()
        groups.setdefault(key, []).append(file)
    return list(groups.values())


def page_copies(
    job: PackJob, listen: Path, files: list[PackFile], ending: str
) -> list[dict[str, Any]]:
    """The listening copy that the page plays for each piece, with its gains.

    Held pieces are taken at matched level, where quiet ones have been coded
    with the most bits to spare; the page turns them down to true level.
    """
    chosen = {id(file.piece): file for file in files if file.version == "true"}
    chosen |= {id(file.piece): file for file in files if file.version == "matched"}
    copies = []
    rate = job.recording.sample_rate_hz
    for file in chosen.values():
        piece = file.piece
        matched_db = piece.true_gain_db if piece.matched_gain_db is None else piece.matched_gain_db
        copies.append(
            {
                "situation": piece.situation,
                "design": piece.design,
                "dial": None if piece.dial is None else float(f"{piece.dial:g}"),
                "voice": piece.voice,
                "seconds": piece.audio.shape[1] / rate,
                "trueDb": piece.true_gain_db - file.gain_db,
                "matchedDb": matched_db - file.gain_db,
                "loudness": rounded_level(
                    integrated_loudness([file.audio.astype(np.float64)], rate)
                ),
                "audio": (listen / f"{file.stem}.{ending}").read_bytes(),
            }
        )
    return copies


def situation_plain(job: PackJob, situation: int) -> dict[str, str]:
    """Which situation a file belongs to, where there are several."""
    return {"situation": job.ears[situation].name} if len(job.ears) > 1 else {}


def place_named(job: PackJob, situation: int) -> str:
    """The guitar, and which of several situations, for a file's tags."""
    rig = job.rig.title or job.rig.name
    return rig if len(job.ears) == 1 else f"{rig}: {job.ears[situation].name}"


def _tags(job: PackJob, file: PackFile, track: int) -> Tags:
    design = job.designs[file.piece.design].name
    dial = "sweep" if file.piece.dial is None else f"{file.piece.dial:g}"
    voice = "" if file.piece.voice == "clean" else ", dirt"
    place = "sweep" if file.piece.dial is None else f"dial {dial}, {file.version} level"
    rig = place_named(job, file.piece.situation)
    return Tags(f"{design}: {place}{voice}", design, dial, rig, job.contents.workshop, track)
