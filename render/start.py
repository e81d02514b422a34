"""The first module of a run: listens for signals before anything else is loaded."""

import _thread
import gc
import signal
import sys
import time
from collections.abc import Callable
from types import FrameType

# Where a system has them; Windows has no SIGHUP.
_STOPPING = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
)
_AGAIN_SECONDS = 0.1


class StoppedError(BaseException):
    """Somebody wants the run to end; what was begun is cleared away on the way out.

    No KeyboardInterrupt, which the command line's library takes for its own.
    """

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


def _stop_on(heard: list[int]) -> Callable[[int, FrameType | None], None]:
    """What a signal calls: notes it and ends the run.

    A library in C, a bare ``except`` or an object thrown away can swallow the stop, so it comes
    again until the run is over; never while an error is being handled, since that may be the
    stop itself and what was begun is being cleared away, whoever is impatient.
    """

    def again(number: int, main_thread: int) -> None:
        while True:
            time.sleep(_AGAIN_SECONDS)
            # To the thread itself, so that what it waits for is cut short; Windows cannot.
            if hasattr(signal, "pthread_kill"):
                signal.pthread_kill(main_thread, number)
            else:
                signal.raise_signal(number)

    def stop(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
        if heard and sys.exc_info()[1] is not None:
            return
        if not heard:
            heard.append(number)
            # No module to import, which may be what is being done.
            _thread.start_new_thread(again, (number, _thread.get_ident()))
        raise StoppedError(heard[0])

    return stop


def _unheard(thrown: "sys.UnraisableHookArgs") -> None:
    """Say nothing of a stop that was swallowed, as by a library's callback: it comes again."""
    if not isinstance(thrown.exc_value, StoppedError):
        sys.__unraisablehook__(thrown)


def _hear_no_more() -> None:
    for stopping in _STOPPING:
        signal.signal(stopping, signal.SIG_IGN)


def main() -> None:
    """Entry point: ends with one line and 128 + the signal's number when stopped."""
    # What is loaded stays; looking for garbage among it takes a tenth of the time.
    gc.set_threshold(200_000)
    heard: list[int] = []
    stop = _stop_on(heard)
    sys.unraisablehook = _unheard
    for stopping in _STOPPING:
        # What nohup and the like ignore stays ignored.
        if signal.getsignal(stopping) is not signal.SIG_IGN:
            signal.signal(stopping, stop)
    try:
        # Now, so that a signal while all else is loaded is heard too.
        from presolder.render.cli import run  # noqa: PLC0415

        status = run()
    except BaseException:
        _hear_no_more()
        # Whatever the stop has become on its way: the compiler makes a SyntaxError of one
        # that comes while it looks up the name of a character.
        if not heard:
            raise
        print("presolder: interrupted; nothing half-written is left", file=sys.stderr)
        status = 128 + heard[0]
    # All is done; what comes while the interpreter goes away would end it without a word.
    _hear_no_more()
    # Nor need garbage be looked for among all of it, a quarter of a second's work, to end.
    gc.freeze()
    sys.exit(status)
