"""The page in Firefox, in short: all its tests run there with -m thorough."""

import base64
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser, Page

from browsers import only_firefox
from page_data import DESIGNS, as_flac, loop, of_rig
from presolder.models.instrument.network import Design
from presolder.render.files.rig_file import find_rig
from probing import opened, until
from rendering import band_rms, rendered, resting
from rigs import as_string_take

pytestmark = [pytest.mark.slow, only_firefox]


@pytest.fixture(scope="module")
def page(browser: Browser, pack: Path) -> Iterator[Page]:
    with opened(browser, pack) as page:
        yield page


def test_it_plays_and_the_knob_turns(page: Page) -> None:
    page.locator("#play").click()
    until(page, "audition.state.playing && audition.live.positionS() > 0.3")
    assert page.locator("#how").inner_text() == ""
    page.evaluate("audition.live.turn(4); audition.live.choose(1)")
    until(page, "Math.abs(audition.dialHeardNow() - 4) < 0.01")


def test_levels_are_measured_beside_the_page(page: Page) -> None:
    """The worker starts there too, and dirt is heard."""
    page.get_by_label("matched").check(force=True)
    page.locator("#dirt").select_option("1")
    until(page, "audition.live.voice()?.dirt != null")
    until(page, "audition.live.rows()[1].measured")
    page.locator("#dirt").select_option("")
    until(page, "audition.live.voice()?.dirt === null")


HELD = """async ([changed, rate]) => {
  const a = audition, data = { ...a.live.data, ...changed, situations: [{ ...a.live.situation(), ...changed }] };
  const context = new OfflineAudioContext(1, rate, rate);
  const live = a.makeLive(data, a.sources, { loudness: null }, { alone() {} });
  live.turn(5); live.choose(1);
  await live.start(context);
  for (let i = 0; i < 400 && !(live.refined() && i > 10); i += 1) await new Promise((done) => setTimeout(done, 25));
  const out = new Float64Array((await context.startRendering()).getChannelData(0)), bytes = new Uint8Array(out.buffer);
  let text = "";
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return btoa(text);
}"""


def test_its_audio_thread_is_the_renderer(page: Page) -> None:
    """Held at 5, rendered faster than time: Firefox cannot stop an offline context on the way."""
    rate = 44_100
    emf = loop(rate, 1.5)
    rig = as_string_take(find_rig("humbucker-500k"))
    changed = {"trueGain": 1, "emf": as_flac(emf, rate), **of_rig(rig)}
    text = page.evaluate(HELD, [changed, rate])
    out = np.frombuffer(base64.b64decode(text))
    design: tuple[Design, ...] = DESIGNS[1:2]
    true = rendered(emf, rate, rig, design, resting(5.0, 1.5))[0, 0][: out.size]
    heard = slice(rate // 4, int(0.95 * rate))
    off = band_rms((out - true)[heard], rate, 20, 16_000)
    # Measured -129 dB.
    assert 20 * np.log10(off / band_rms(true[heard], rate, 20, 16_000)) < -122
