"""The delivery edge: fades, joins and listening copies with tags, through pydub and ffmpeg.

Where ffmpeg is missing, listening copies are written by libsndfile instead.
"""

import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from presolder.models.errors import InputError, one_line
from presolder.render.files.ffmpeg import Format, have_ffmpeg, run_ffmpeg
from presolder.render.files.tags import Tags

# It warns of escapes in its own source and of a missing ffmpeg, which we tell ourselves.
with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pydub import AudioSegment


BITRATE = "64k"
_FADE_MS = 15
_GAP_MS = 700
# What ffmpeg's encoder of MP3 turns everything down by, 0.95 (measured); files peak at -1 dBFS.
_MP3_LOSS_DB = 0.445
_CODECS: dict[Format, tuple[str, str | None]] = {"mp3": ("mp3", None), "m4a": ("ipod", "aac")}


def listening_ending(wanted: Format) -> str:
    """File ending of listening copies: as wanted with ffmpeg, else what libsndfile writes."""
    if have_ffmpeg():
        return wanted
    return "mp3" if "MP3" in soundfile.available_formats() else "ogg"


def segment_of(audio: NDArray[np.floating], sample_rate_hz: int) -> AudioSegment:
    """Audio of shape (channels, n) as a 16-bit pydub segment."""
    frames = np.round(np.clip(audio, -1.0, 1.0) * 32767.0).astype("<i2").T
    return AudioSegment(
        data=np.ascontiguousarray(frames).tobytes(),
        sample_width=2,
        frame_rate=sample_rate_hz,
        channels=audio.shape[0],
    )


def write_listening_copy(
    path: Path, audio: NDArray[np.floating], sample_rate_hz: int, tags: Tags
) -> None:
    """Write a light copy in the format of the path's ending.

    Parameters
    ----------
    path : Path
        Its ending comes from `listening_ending`.
    audio : ndarray, shape (channels, n)
        Full scale 1.0.
    sample_rate_hz : int
        Sample rate.
    tags : Tags
        Title, design, dial and rig.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    write_segment(path, segment_of(audio, sample_rate_hz), tags)


def write_segment(path: Path, segment: AudioSegment, tags: Tags) -> None:
    """Write a pydub segment; as `write_listening_copy`."""
    ending = path.suffix[1:]
    if have_ffmpeg():
        container, codec = _CODECS["m4a" if ending == "m4a" else "mp3"]
        _export(path, segment, container, codec, tags)
        return
    frames = np.frombuffer(segment.raw_data, dtype="<i2").reshape(-1, segment.channels)
    kind, subtype = ("MP3", "MPEG_LAYER_III") if ending == "mp3" else ("OGG", "VORBIS")
    try:
        with soundfile.SoundFile(
            path, "w", segment.frame_rate, segment.channels, subtype, format=kind
        ) as file:
            file.title, file.artist, file.album = tags.title, tags.as_dict()["artist"], tags.rig
            file.write(frames)
    except (RuntimeError, AssertionError) as error:
        raise OSError(f"writing {path.name} failed: {one_line(str(error))}") from None


def _export(
    path: Path, segment: AudioSegment, container: str, codec: str | None, tags: Tags
) -> None:
    if container == "mp3":
        segment = segment.apply_gain(_MP3_LOSS_DB)
    # Through a pipe and not by the segment's own export, which leaves temporary files behind
    # when it is stopped, and waits for ffmpeg for ever.
    command = ["-f", "s16le", "-ar", str(segment.frame_rate), "-ac", str(segment.channels)]
    command += ["-i", "pipe:0", "-b:a", BITRATE]
    if codec is not None:
        command += ["-c:a", codec]
    for field, text in tags.as_dict().items():
        command += ["-metadata", f"{field}={text}"]
    if container == "mp3":
        command += ["-id3v2_version", "4"]
    run_ffmpeg([*command, "-f", container, f"file:{path}"], segment.raw_data)
    if not path.exists() or path.stat().st_size == 0:
        raise OSError(f"ffmpeg wrote nothing into {path.name}")


def write_reel(
    path: Path,
    pieces: Sequence[NDArray[np.floating]],
    titles: Sequence[str],
    sample_rate_hz: int,
    tags: Tags,
) -> list[dict[str, Any]]:
    """Write pieces in turn, with fades and short gaps, and a chapter at each.

    Parameters
    ----------
    path : Path
        Its ending comes from `listening_ending`.
    pieces : sequence of ndarray, shape (channels, n) each
    titles : sequence of str
        Of the chapters.
    sample_rate_hz : int
    tags : Tags

    Returns
    -------
    list of dict
        Each chapter's ``title`` and where it starts, ``start_s``. In the file
        itself they are only where ffmpeg is there.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    gap = AudioSegment.silent(duration=_GAP_MS, frame_rate=sample_rate_hz)
    reel = AudioSegment.empty()
    starts_ms: list[int] = []
    for piece in pieces:
        if starts_ms:
            reel = reel.append(gap, crossfade=0)
        starts_ms.append(len(reel))
        faded = segment_of(piece, sample_rate_hz).fade_in(_FADE_MS).fade_out(_FADE_MS)
        reel = reel.append(faded, crossfade=0) if len(reel) else faded
    write_segment(path, reel, tags)
    ends_ms = [*starts_ms[1:], len(reel)]
    if have_ffmpeg():
        _add_chapters(path, list(zip(titles, starts_ms, ends_ms, strict=True)))
    return [
        {"title": title, "start_s": start_ms / 1000.0}
        for title, start_ms in zip(titles, starts_ms, strict=True)
    ]


def _add_chapters(path: Path, chapters: list[tuple[str, int, int]]) -> None:
    """In ffmpeg's metadata format, ahead of the streams as they are."""
    lines = [";FFMETADATA1"]
    for title, start_ms, end_ms in chapters:
        escaped = "".join(f"\\{c}" if c in "=;#\\\n" else c for c in title)
        lines += ["[CHAPTER]", "TIMEBASE=1/1000", f"START={start_ms}", f"END={end_ms}"]
        lines += [f"title={escaped}"]
    metadata, done = path.with_suffix(".chapters"), path.with_name(f"with-{path.name}")
    try:
        metadata.write_text("\n".join(lines) + "\n", encoding="utf-8")
        command = ["-i", f"file:{path}", "-i", f"file:{metadata}", "-map", "0"]
        command += ["-map_metadata", "0", "-map_chapters", "1", "-codec", "copy", f"file:{done}"]
        run_ffmpeg(command)
        done.replace(path)
    finally:
        metadata.unlink(missing_ok=True)
        done.unlink(missing_ok=True)


def decode_with_ffmpeg(path: Path, out: Path, longest_s: float) -> None:
    """Decode a compressed recording that libsndfile does not read.

    Parameters
    ----------
    path : Path
        M4A, AAC or the like.
    out : Path
        The WAV file to write.
    longest_s : float
        No more than this is decoded.

    Raises
    ------
    InputError
        If ffmpeg is missing or cannot decode the file.
    """
    if not have_ffmpeg():
        raise InputError(
            f"{path}: reading {path.suffix[1:].upper()} needs ffmpeg, which is not installed;"
            " install ffmpeg, or give a WAV or FLAC recording"
        )
    # The container by the ending, or a script with that ending could name other files.
    container = "aac" if path.suffix.lower() == ".aac" else "mov"
    command = ["-f", container, "-t", f"{longest_s:g}", "-i", f"file:{path}"]
    command += ["-vn", "-map_metadata", "-1", "-c:a", "pcm_f32le", "-f", "wav", f"file:{out}"]
    try:
        run_ffmpeg(command)
    except OSError:
        raise InputError(f"{path}: ffmpeg cannot decode it as audio") from None
