"""MP3 files against two decoders and another encoder's header."""

import io
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from presolder.render.files.mp3 import _crc16, mp3_of


def bursts(sample_rate_hz: int, channels: int, samples: int) -> NDArray[np.int16]:
    """Rough sound between 200 and 2000 Hz, another in each channel."""
    rng = np.random.default_rng(channels)
    spectrum = np.fft.rfft(rng.standard_normal((samples, channels)), axis=0)
    frequency_hz = np.fft.rfftfreq(samples, 1 / sample_rate_hz)
    spectrum[(frequency_hz < 200) | (frequency_hz > 2000)] = 0
    sound = np.fft.irfft(spectrum, samples, axis=0)
    return np.round(sound / np.max(np.abs(sound)) * 20_000).astype(np.int16)


def decoded(by: str, path: Path, channels: int) -> NDArray[np.float64]:
    """Samples of shape (n, channels) as libsndfile's decoder or ffmpeg's has them."""
    if by == "libsndfile":
        return soundfile.read(path, always_2d=True)[0]  # type: ignore[no-any-return]
    command = ["ffmpeg", "-v", "error", "-i", path, "-f", "f64le", "-"]
    done = subprocess.run(command, capture_output=True, check=True)
    assert done.stderr == b""
    return np.frombuffer(done.stdout, "<f8").reshape(-1, channels)


@pytest.mark.parametrize("by", ["libsndfile", "ffmpeg"])
@pytest.mark.parametrize(
    ("sample_rate_hz", "channels", "samples"),
    [(48_000, 1, 50_001), (44_100, 2, 61_234), (32_000, 1, 40_000), (22_050, 2, 30_000),
     (16_000, 1, 20_011), (11_025, 2, 20_000), (8_000, 1, 15_000)],
)  # fmt: skip
def test_decoders_give_every_sample_in_its_place(
    by: str, sample_rate_hz: int, channels: int, samples: int, tmp_path: Path
) -> None:
    given = bursts(sample_rate_hz, channels, samples)
    path = tmp_path / "a.mp3"
    path.write_bytes(mp3_of(given, sample_rate_hz))
    back = decoded(by, path, channels) * 32768
    assert back.shape == given.shape
    spectra = np.fft.rfft(given, axis=0), np.fft.rfft(back, axis=0)
    alike = np.fft.irfft(np.conj(spectra[0]) * spectra[1], samples, axis=0)
    assert np.argmax(alike, axis=0).tolist() == [0] * channels
    # What is lost to the bit rate; measured -11 dB at the lowest rates to -35 dB.
    lost_db = 10 * np.log10(np.mean((back - given) ** 2) / np.mean(given.astype(float) ** 2))
    assert lost_db < -9


def test_other_rates_are_resampled(tmp_path: Path) -> None:
    path = tmp_path / "a.mp3"
    path.write_bytes(mp3_of(bursts(96_000, 1, 96_000), 96_000))
    for by in ("libsndfile", "ffmpeg"):
        assert decoded(by, path, 1).shape == (48_000, 1)
    assert soundfile.info(path).samplerate == 48_000


@pytest.mark.parametrize("channels", [1, 2])
def test_header_is_another_encoders(channels: int) -> None:
    """libsndfile's, which is made by LAME itself, but for what the module leaves at zero."""
    given = bursts(48_000, channels, 200_000)
    file = io.BytesIO()
    with soundfile.SoundFile(
        file, "w", 48_000, channels, "MPEG_LAYER_III", format="MP3",
        compression_level=0.5, bitrate_mode="VARIABLE",
    ) as other:  # fmt: skip
        other.write(given)
    whole = mp3_of(given, 48_000)
    ours, theirs = (
        one[one.index(b"Xing") : one.index(b"LAME3.1") + 36] for one in (whole, file.getvalue())
    )
    fields = [struct.unpack(">4s3I100sI9sB11s3s2sHIHH", one) for one in (ours, theirs)]
    names = ("magic", "flags", "frames", "bytes", "seek", "quality", "encoder", "method")
    names += ("unused", "delay and padding", "more unused", "preset", "length", "sound", "check")
    differ = {name for name, mine, its in zip(names, *fields, strict=True) if mine != its}
    # Their header's own frame is of another length, and so all that counts bytes may be.
    assert differ <= {"unused", "more unused", "sound", "check", "seek", "bytes", "length"}
    assert fields[0][3] == fields[0][-3] == len(whole)
    seek, their_seek = (np.frombuffer(one[4], np.uint8).astype(int) for one in fields)
    # Theirs are of fewer frames, from which it reckons the rest: measured 3 and 5 of 256.
    assert np.max(np.abs(seek - their_seek)) <= 8


def test_checksum_is_the_published_one() -> None:
    """CRC-16/ARC of the digits 1 to 9, the check value in catalogues of CRCs (from memory)."""
    assert _crc16(b"123456789") == 0xBB3D
    whole = mp3_of(bursts(48_000, 1, 9_000), 48_000)
    end = whole.index(b"LAME3.1") + 36
    assert struct.unpack(">H", whole[end - 2 : end])[0] == _crc16(whole[: end - 2])
