"""An audio interface with a guitar at it, made of a sound server: what leaves it drives a coil over
the pickup, and what comes in is what the guitar gives, late and with noise."""

import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import scipy.signal

import presolder as ps
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array, ComplexArray

RATE = 44_100
# What is worked on at once, and how long what is written may lie in the server's buffer: long, since
# a machine that does much else must not tear the sound, and whoever measures has to find it anyway.
_BLOCK, _LATENCY_MS, _NOISE = 960, 150, 2e-5
_FORMAT = ("--raw", "--format=float32le", f"--rate={RATE}", "--channels=1")


@contextmanager
def sound_server(folder: Path) -> Iterator[Path]:
    """A sound server that has an output, nobody hears it, and an input; gives its socket."""
    place = folder / "sound"
    process = subprocess.Popen(
        [
            "pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1",
            f"--load=module-null-sink sink_name=out rate={RATE} channels=1",
            f"--load=module-null-sink sink_name=line rate={RATE} channels=1",
            "--load=module-remap-source master=line.monitor source_name=in",
            f"--load=module-native-protocol-unix auth-anonymous=1 socket={place}",
        ],
        env={"HOME": str(folder), "XDG_RUNTIME_DIR": str(folder), "PATH": "/usr/bin:/bin"},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        for _ in range(100):
            if place.exists():
                break
            time.sleep(0.05)
        subprocess.run(["pactl", "-s", str(place), "set-default-source", "in"], check=True)
        subprocess.run(["pactl", "-s", str(place), "set-default-sink", "out"], check=True)
        yield place
    finally:
        process.kill()
        process.wait()


_HZ = np.fft.rfftfreq(1 << 14, 1.0 / RATE)
# Its filters take the edges off: 3 dB at 15 Hz and at 14 kHz.
_OWN = 1.0 / ((1.0 + 15.0 / np.maximum(1j * _HZ, 1e-3j)) * (1.0 + 1j * _HZ / 14e3))


@dataclass
class Interface:
    """What stands between the server's output and its input; nothing yet.

    Attributes
    ----------
    server : Path
        Its socket.
    impulse : ndarray
        From what is played to what comes in.
    playing : ndarray
        What somebody plays on the guitar now; it is added to what comes in.
    """

    server: Path
    impulse: Array = field(default_factory=lambda: np.zeros(2))
    playing: Array = field(default_factory=lambda: np.zeros(0))
    _state: Array = field(default_factory=lambda: np.zeros(1))

    def is_looped(self) -> None:
        """A plain cable leads from its output to its input."""
        self._leads(_OWN)

    def drives(self, rig: Rig, added_farads: float = 0.0, dial: float = 10.0) -> None:
        """Its output leads to a small coil over the pickup, the guitar to its input.

        Such a coil's field, and so the EMF, rises with frequency.
        """
        whole = replace(rig, cable_farads=rig.cable_farads + added_farads)
        gain = np.append(0.0, ps.response(whole, "bare", dial, _HZ[1:]))
        self._leads(_OWN * gain * 1j * _HZ / 2e4)

    def _leads(self, response: ComplexArray) -> None:
        late = np.exp(-2j * np.pi * _HZ * 32 / RATE)
        impulse = np.fft.irfft(response * late)[:8192]
        self.impulse, self._state = impulse, np.zeros(impulse.size - 1)

    def is_pulled_out(self) -> None:
        """The server has no input any more."""
        subprocess.run(["pactl", "-s", str(self.server), "unload-module", "module-remap-source"],
                       check=True)  # fmt: skip
        subprocess.run(["pactl", "-s", str(self.server), "unload-module", "module-null-sink"],
                       check=True)  # fmt: skip

    def is_played(self, samples: Array) -> None:
        """Once, from now on."""
        self.playing = samples

    def gives(self, played: Array, random: np.random.Generator) -> Array:
        """What comes in while something is played."""
        impulse, state = self.impulse, self._state
        heard = scipy.signal.fftconvolve(played, impulse)
        heard[: state.size] += state
        self._state = heard[played.size :]
        heard = heard[: played.size] + _NOISE * random.standard_normal(played.size)
        mine, self.playing = self.playing[: played.size], self.playing[played.size :]
        heard[: mine.size] += mine
        return np.asarray(heard, dtype=np.float64)


@contextmanager
def guitar_at(server: Path) -> Iterator[Interface]:
    """Something at the interface, until the block ends."""
    interface, random = Interface(server), np.random.default_rng(1)
    ends = [*_FORMAT, "-s", str(server), f"--latency-msec={_LATENCY_MS}"]
    hearing = subprocess.Popen(["parec", *ends, "-d", "out.monitor"], stdout=subprocess.PIPE)
    giving = subprocess.Popen(["pacat", "-p", *ends, "-d", "line"], stdin=subprocess.PIPE)

    def pass_on() -> None:
        assert hearing.stdout is not None and giving.stdin is not None
        while block := hearing.stdout.read(4 * _BLOCK):
            heard = interface.gives(np.frombuffer(block, "<f4").astype(float), random)
            try:
                giving.stdin.write(heard.astype("<f4").tobytes())
                giving.stdin.flush()
            except BrokenPipeError:
                return

    at_work = threading.Thread(target=pass_on, daemon=True)
    at_work.start()
    try:
        yield interface
    finally:
        for one in (hearing, giving):
            one.kill()
        at_work.join(5)
        for one in (hearing, giving):
            one.wait()
        for end in (hearing.stdout, giving.stdin):
            with suppress(BrokenPipeError):
                end.close()  # type: ignore[union-attr]


def strum_at(dial: float, rig: Rig, fitted: str) -> Array:
    """Four seconds of a phrase at the jack, with an interface's noise."""
    path = ps.KnobPath((0.0, 4.0), (dial, dial))
    (audio,) = ps.render(ps.sample("string"), rig, fitted, path).values()
    noise = 1e-5 * np.random.default_rng(int(dial)).normal(size=audio.shape[1])
    return np.asarray(audio[0] + noise, dtype=np.float64)
