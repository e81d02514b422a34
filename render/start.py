"""The first module of a run: listens for signals before anything else is loaded."""

import gc
import signal
import sys
from collections.abc import Callable
from functools import partial
from types import FrameType

# Where a system has them; Windows has no SIGHUP.
_STOPPING = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
)
_AGAIN_SECONDS = 0.02


class StoppedError(BaseException):
    """Somebody wants the run to end; what was begun is cleared away on the way out.

    No KeyboardInterrupt, which the command line's library takes for its own.
    """

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


_Handler = Callable[[int, FrameType | None], None]


def _handler(heard: list[int]) -> _Handler:
    """What a signal calls: notes it and ends the run."""

    def stop(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
        # Whoever is impatient must not stop the clearing away.
        for stopping in _STOPPING:
            signal.signal(stopping, signal.SIG_IGN)
        heard.append(number)
        raise StoppedError(number)

    return stop


def _unheard(stop: _Handler, thrown: "sys.UnraisableHookArgs") -> None:
    """Stop a moment later where the first try was swallowed, as by a library's callback."""
    if not isinstance(thrown.exc_value, StoppedError):
        sys.__unraisablehook__(thrown)
        return
    # Loaded long since by whatever has callbacks.
    import threading  # noqa: PLC0415

    number = thrown.exc_value.number
    signal.signal(number, stop)
    main_thread = threading.main_thread().ident

    def once_more() -> None:
        # To the thread itself, so that what it waits for is cut short; Windows cannot.
        if hasattr(signal, "pthread_kill") and main_thread is not None:
            signal.pthread_kill(main_thread, number)
        else:
            signal.raise_signal(number)

    again = threading.Timer(_AGAIN_SECONDS, once_more)
    again.daemon = True
    again.start()


def main() -> None:
    """Entry point: ends with one line and 128 + the signal's number when stopped."""
    # What is loaded stays; looking for garbage among it takes a tenth of the time.
    gc.set_threshold(50_000)
    heard: list[int] = []
    stop = _handler(heard)
    sys.unraisablehook = partial(_unheard, stop)
    for stopping in _STOPPING:
        # What nohup and the like ignore stays ignored.
        if signal.getsignal(stopping) is not signal.SIG_IGN:
            signal.signal(stopping, stop)
    try:
        # Now, so that a signal while all else is loaded is heard too.
        from presolder.render.cli import run  # noqa: PLC0415

        status = run()
    except BaseException:
        # Whatever the stop has become on its way: the compiler makes a SyntaxError of one
        # that comes while it looks up the name of a character.
        if not heard:
            raise
        print("presolder: interrupted; nothing half-written is left", file=sys.stderr)
        status = 128 + heard[0]
    # All is done; what comes while the interpreter goes away would end it without a word.
    for stopping in _STOPPING:
        signal.signal(stopping, signal.SIG_IGN)
    sys.exit(status)
