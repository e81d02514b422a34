"""A customer's page with a window into it, for tests: what an ear cannot tell a program."""

from pathlib import Path

_MARK = "/* probe */"
_PROBE = """window.audition = {
  state, live, parts, positionS, dialNow, blind, own, recordings, heard, makeLive, sources,
  dialHeardNow: live.heardDial, clockS: () => (context ? context.currentTime : 0),
  startedAtS: recordings.startedAtS,
};"""


def probed(page: Path) -> Path:
    """A copy of the page, beside it, that tests can look into."""
    text = page.read_text("utf-8")
    assert text.count(_MARK) == 1 and "window.audition" not in text
    copy = page.with_name(f"probed-{page.name}")
    copy.write_text(text.replace(_MARK, _PROBE), "utf-8")
    return copy
