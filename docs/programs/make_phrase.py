"""Write the MIDI file that ``phrase.flac`` was rendered from: an invented two-bar phrase.

Run it as ``python docs/programs/make_phrase.py OUT.mid``, with mido installed; how the
file becomes audio stands in samples/README.md.
"""

import sys

import mido

BEATS_PER_MINUTE = 100
TICKS = 480
# General MIDI programs, counted from 0.
CLEAN, MUTED = 27, 28
STRUM_GAP = 0.014

A7SUS = (45, 52, 57, 62, 64)
D6 = (50, 57, 62, 66, 71)
G = (43, 50, 55, 59, 67)
F = (41, 48, 53, 57, 60)
B = (43, 50, 55, 59, 62)
EM = (40, 47, 52, 55, 59, 64)

Event = tuple[int, mido.Message]


def note(channel: int, beat: float, beats: float, pitch: int, velocity: int) -> list[Event]:
    """One note, from its beat for so many beats."""
    return [
        (
            int(at * TICKS),
            mido.Message(kind, channel=channel, note=pitch, velocity=strength),
        )
        for at, kind, strength in (
            (beat, "note_on", velocity),
            (beat + beats, "note_off", 0),
        )
    ]


def strum(
    beat: float, beats: float, chord: tuple[int, ...], velocity: int, up: bool = False
) -> list[Event]:
    """A chord, its notes a little apart and each softer than the one before."""
    pitches = chord[::-1] if up else chord
    return [
        event
        for i, pitch in enumerate(pitches)
        for event in note(0, beat + i * STRUM_GAP, beats - i * STRUM_GAP, pitch, velocity - 2 * i)
    ]


def phrase() -> list[Event]:
    """Every event by its tick."""
    setup = [
        (0, message)
        for channel, program in ((0, CLEAN), (1, MUTED))
        for message in (
            mido.Message("program_change", channel=channel, program=program),
            mido.Message("control_change", channel=channel, control=10, value=64),
            mido.Message("control_change", channel=channel, control=91, value=0),
            mido.Message("control_change", channel=channel, control=93, value=0),
        )
    ]
    return [
        *setup,
        *strum(0, 0.7, A7SUS, 110),
        *strum(0.75, 0.2, A7SUS[2:], 84, up=True),
        *note(1, 1, 0.2, 45, 96),
        *note(1, 1.25, 0.2, 45, 80),
        *strum(1.5, 0.45, D6, 104),
        *note(0, 2, 0.22, 69, 100),
        *note(0, 2.25, 0.22, 67, 88),
        *note(0, 2.5, 0.22, 64, 96),
        *strum(2.75, 0.22, G[1:], 90, up=True),
        *strum(3, 0.45, G, 108),
        *note(1, 3.5, 0.2, 43, 92),
        *note(0, 3.75, 0.24, 62, 84),
        *strum(4, 0.7, EM, 112),
        *strum(4.75, 0.2, EM[3:], 84, up=True),
        *note(1, 5, 0.2, 40, 98),
        *note(1, 5.25, 0.2, 40, 82),
        *strum(5.5, 0.45, B, 102),
        *note(0, 6, 0.2, 71, 98),
        *note(0, 6.25, 0.2, 69, 90),
        *strum(6.5, 0.2, F[2:], 94, up=True),
        *note(1, 6.75, 0.2, 41, 88),
        *strum(7, 0.7, D6, 108),
        *note(1, 7.75, 0.22, 45, 90),
    ]


def write(path: str) -> None:
    """Write the MIDI file."""
    track = mido.MidiTrack()
    tempo = mido.bpm2tempo(BEATS_PER_MINUTE)
    track.append(mido.MetaMessage("set_tempo", tempo=tempo))
    last = 0
    for tick, message in sorted(phrase(), key=lambda event: event[0]):
        track.append(message.copy(time=tick - last))
        last = tick
    file = mido.MidiFile(ticks_per_beat=TICKS)
    file.tracks.append(track)
    file.save(path)


if __name__ == "__main__":
    write(sys.argv[1])
