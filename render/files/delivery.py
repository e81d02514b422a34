"""The delivery edge: fades, joins and listening copies with tags.

MP3 is made in this very process, M4A by ffmpeg.
"""

import shutil
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from mutagen.id3 import CHAP, COMM, CTOC, ID3, TALB, TIT2, TPE1, TRCK, CTOCFlags, Frame
from numpy.typing import NDArray

from presolder.render.files.ffmpeg import Format, have_ffmpeg, run_ffmpeg
from presolder.render.files.mp3 import mp3_of
from presolder.render.files.tags import Tags

# It warns of escapes in its own source and of a missing ffmpeg, which we tell ourselves.
with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pydub import AudioSegment
from pydub.generators import Sine

BITRATE = "64k"
_FADE_MS = 15
_GAP_MS = 700
# Beeps by frequency and length: of designs, of dials, of five dials; and what is between.
_HIGH, _LOW, _LONG = (880, 110), (440, 70), (440, 260)
_BETWEEN_MS, _TONE_FADE_MS = 80, 8


def listening_ending(wanted: Format) -> str:
    """File ending of listening copies: as wanted, or what can be written here."""
    return "m4a" if wanted == "m4a" and have_ffmpeg() else "mp3"


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


def write_again(
    path: Path,
    encoded: Path | None,
    audio: NDArray[np.floating],
    sample_rate_hz: int,
    tags: Tags,
) -> Path:
    """As `write_listening_copy`, but for sound that a file has already, given that one.

    Returns
    -------
    Path
        The file to give the next time.
    """
    if encoded is None or path.suffix == ".m4a":
        write_listening_copy(path, audio, sample_rate_hz, tags)
        return path
    shutil.copyfile(encoded, path)
    write_tags(path, tags)
    return encoded


def write_segment(
    path: Path, segment: AudioSegment, tags: Tags, chapters: Sequence[tuple[str, int, int]] = ()
) -> None:
    """Write a pydub segment, with chapters as `write_tags` has them; as `write_listening_copy`."""
    if path.suffix != ".m4a":
        frames = np.frombuffer(segment.raw_data, dtype="<i2").reshape(-1, segment.channels)
        path.write_bytes(mp3_of(frames, segment.frame_rate))
        write_tags(path, tags, chapters)
        return
    _export(path, segment, tags)
    if chapters:
        _add_chapters(path, chapters)


def write_tags(path: Path, tags: Tags, chapters: Sequence[tuple[str, int, int]] = ()) -> None:
    """Write an MP3 file's tags and chapters: title, start and end in ms."""
    named = tags.as_dict()
    frames: list[Frame] = [_ID3[field](encoding=3, text=text) for field, text in named.items()]
    # Frames are written by length, and some players list chapters as they are written: names
    # that nobody sees make up for the titles' lengths.
    sizes = [len(title.encode()) for title, _, _ in chapters]
    every = [f"{i:03d}".ljust(3 + max(sizes) - size, "-") for i, size in enumerate(sizes)]
    for own, (title, start_ms, end_ms) in zip(every, chapters, strict=True):
        name = [TIT2(encoding=3, text=title)]
        frames += [CHAP(element_id=own, start_time=start_ms, end_time=end_ms, sub_frames=name)]
    if chapters:
        order = CTOCFlags.TOP_LEVEL | CTOCFlags.ORDERED
        frames += [CTOC(element_id="toc", flags=order, child_element_ids=every, sub_frames=[])]
    id3 = ID3()
    for frame in frames:
        id3.add(frame)
    id3.save(path)


_ID3: dict[str, Callable[..., Frame]] = {
    "title": TIT2,
    "artist": TPE1,
    "album": TALB,
    "track": TRCK,
    "comment": partial(COMM, lang="eng"),
}


def _export(path: Path, segment: AudioSegment, tags: Tags) -> None:
    """Write a pydub segment as M4A."""
    # Through a pipe and not by the segment's own export, which leaves temporary files behind
    # when it is stopped, and waits for ffmpeg for ever.
    command = ["-f", "s16le", "-ar", str(segment.frame_rate), "-ac", str(segment.channels)]
    command += ["-i", "pipe:0", "-b:a", BITRATE, "-c:a", "aac"]
    for field, text in tags.as_dict().items():
        command += ["-metadata", f"{field}={text}"]
    run_ffmpeg([*command, "-f", "ipod", f"file:{path}"], segment.raw_data)
    if not path.exists() or path.stat().st_size == 0:
        raise OSError(f"ffmpeg wrote nothing into {path.name}")


@dataclass(frozen=True)
class Call:
    """What comes next, for where nobody looks: beeps for the design, low ticks for the dial.

    Attributes
    ----------
    design : int
        Its number in the pack, from 1: so many high beeps.
    dial : float or None
        So many low ticks, a longer one for each five.
    """

    design: int
    dial: float | None = None


def _beeps(call: Call, beside: AudioSegment) -> AudioSegment:
    """A call as loud as the mean of what it comes before."""
    rate = beside.frame_rate
    fives, ones = divmod(round(call.dial or 0), 5)
    between = AudioSegment.silent(duration=_BETWEEN_MS, frame_rate=rate)

    def told(kind: tuple[int, int], times: int) -> AudioSegment:
        hz, length_ms = kind
        tone = Sine(hz, sample_rate=rate).to_audio_segment(duration=length_ms)
        tone = tone.fade_in(_TONE_FADE_MS).fade_out(_TONE_FADE_MS)
        return tone.apply_gain(beside.dBFS - tone.dBFS).append(between, crossfade=0) * times

    pause = AudioSegment.silent(duration=_GAP_MS, frame_rate=rate)
    said = told(_HIGH, call.design).append(pause, crossfade=0)
    if call.dial is not None:
        for kind, times in ((_LONG, fives), (_LOW, ones)):
            said = said.append(told(kind, times), crossfade=0) if times else said
        said = said.append(pause, crossfade=0)
    return said.set_channels(beside.channels).set_sample_width(beside.sample_width)


def write_reel(
    path: Path,
    pieces: Sequence[NDArray[np.floating]],
    titles: Sequence[str],
    sample_rate_hz: int,
    tags: Tags,
    calls: Sequence[Call] = (),
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
    calls : sequence of Call
        What beeps say before each, if they do.

    Returns
    -------
    list of dict
        Each chapter's ``title`` and where it starts, ``start_s``.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    gap = AudioSegment.silent(duration=_GAP_MS, frame_rate=sample_rate_hz)
    reel = AudioSegment.empty()
    starts_ms: list[int] = []
    for at, piece in enumerate(pieces):
        if starts_ms:
            reel = reel.append(gap, crossfade=0)
        starts_ms.append(len(reel))
        segment = segment_of(piece, sample_rate_hz)
        faded = segment.fade_in(_FADE_MS).fade_out(_FADE_MS)
        if calls:
            faded = _beeps(calls[at], segment).append(faded, crossfade=0)
        reel = reel.append(faded, crossfade=0) if len(reel) else faded
    chapters = list(zip(titles, starts_ms, [*starts_ms[1:], len(reel)], strict=True))
    write_segment(path, reel, tags, chapters)
    return [
        {"title": title, "start_s": start_ms / 1000.0}
        for title, start_ms in zip(titles, starts_ms, strict=True)
    ]


def _add_chapters(path: Path, chapters: Sequence[tuple[str, int, int]]) -> None:
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
