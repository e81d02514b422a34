"""MP3 files of audio, which players start and end to the sample.

The frames come from LAME, in this very process: starting ffmpeg for each file
costs twice as much, and the encoder within libsndfile three times. Ahead of
them stands one silent frame that says how long the recording is, where each
hundredth of it starts and how many samples of delay and padding to leave out:
the Xing header of variable bit rates with LAME's extension ("Mp3 Info Tag
rev 1 specifications", draft 0), as decoders read it.
"""

import struct
from collections.abc import Iterator

import lameenc
import numpy as np
from numpy.typing import NDArray

# LAME's own scales: about 60 kbit/s a channel, with its usual care.
_VBR_QUALITY, _CARE, _VBR_METHOD = 5, 5, 4
# Silence that LAME sets ahead of the sound; decoders know of the 529 samples that they add.
_DELAY = 576
# ISO/IEC 11172-3 and 13818-3, layer III: kbit/s, and Hz by the header's bits of version.
_MPEG1_KBPS = (32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320)
_MPEG2_KBPS = (8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160)
_MPEG1 = 3
_RATES_HZ = {_MPEG1: (44100, 48000, 32000), 2: (22050, 24000, 16000), 0: (11025, 12000, 8000)}
_ALL_RATES_HZ = tuple(rate for rates in _RATES_HZ.values() for rate in rates)


def mp3_of(frames: NDArray[np.int16], sample_rate_hz: int) -> bytes:
    """Encode 16-bit audio as MP3 of a variable bit rate.

    Parameters
    ----------
    frames : ndarray of int16, shape (n, channels)
        One or two channels.
    sample_rate_hz : int
        If MP3 has no such rate, the encoder resamples to the nearest.

    Returns
    -------
    bytes
        A whole file without tags.
    """
    coded_hz = min(_ALL_RATES_HZ, key=lambda rate_hz: abs(rate_hz - sample_rate_hz))
    encoder = lameenc.Encoder()
    encoder.silence()
    encoder.set_in_sample_rate(sample_rate_hz)
    encoder.set_out_sample_rate(coded_hz)
    encoder.set_channels(frames.shape[1])
    encoder.set_quality(_CARE)
    encoder.set_vbr(_VBR_METHOD)
    encoder.set_vbr_quality(_VBR_QUALITY)
    sound = bytes(encoder.encode(np.ascontiguousarray(frames, "<i2").tobytes()) + encoder.flush())
    return _information(sound, round(len(frames) * coded_hz / sample_rate_hz)) + sound


def _information(sound: bytes, samples: int) -> bytes:
    """Give the frame that goes ahead of the encoder's, for so many samples of sound."""
    version, sizes_by_index, per_frame = _format(sound)
    mono = sound[3] >> 6 == 0b11
    side = (17 if mono else 32) if version == _MPEG1 else (9 if mono else 17)
    starts = list(_starts(sound, sizes_by_index))
    padding = len(starts) * per_frame - _DELAY - samples
    # The smallest frame that has room for it all.
    index, size = next((i, size) for i, size in sizes_by_index.items() if size >= side + 160)
    total = size + len(sound)
    seek = [256 * (size + starts[len(starts) * part // 100]) // total for part in range(100)]
    frame = bytes([0xFF, sound[1] | 1, index << 4 | sound[2] & 0b1100, sound[3]]) + bytes(side)
    frame += b"Xing" + struct.pack(">III", 0b1111, len(starts), total) + bytes(seek)
    frame += struct.pack(">I", 100 - 10 * _VBR_QUALITY)
    # Zero where the extension asks for what nobody reads: low-pass, peak, gains, hearing
    # threshold, least bit rate, and the sound's checksum.
    frame += b"LAME3.100" + bytes([_VBR_METHOD]) + bytes(11)
    frame += (_DELAY << 12 | padding).to_bytes(3, "big") + bytes(2)
    frame += struct.pack(">HIH", 500 - 10 * _VBR_QUALITY, total, 0)
    frame += struct.pack(">H", _crc16(frame))
    return frame + bytes(size - len(frame))


def _format(sound: bytes) -> tuple[int, dict[int, int], int]:
    """Give the version's bits, a frame's bytes by the index of its bit rate, and its samples."""
    version = sound[1] >> 3 & 0b11
    rate_hz = _RATES_HZ[version][sound[2] >> 2 & 0b11]
    kbps, per_frame = (_MPEG1_KBPS, 1152) if version == _MPEG1 else (_MPEG2_KBPS, 576)
    sizes = {i: per_frame // 8 * 1000 * rate // rate_hz for i, rate in enumerate(kbps, start=1)}
    return version, sizes, per_frame


def _starts(sound: bytes, sizes_by_index: dict[int, int]) -> Iterator[int]:
    """Give where each frame starts, in bytes."""
    at = 0
    while at < len(sound):
        yield at
        padded = sound[at + 2] >> 1 & 1
        at += sizes_by_index[sound[at + 2] >> 4] + padded


def _crc16(given: bytes) -> int:
    """CRC-16 of the polynomial 0x8005, least bit first."""
    rest = 0
    for byte in given:
        rest ^= byte
        for _ in range(8):
            rest = rest >> 1 ^ (0xA001 if rest & 1 else 0)
    return rest
