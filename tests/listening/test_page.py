"""The pack's page in a real browser, opened from disk."""

import json
import re
import threading
from collections.abc import Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from browsers import only_chromium, saved
from probing import probed, until
from running import presolder
from script import in_node
from takes import DOCS

pytestmark = pytest.mark.slow

NAMES = ("plain-<script>alert(1)</script>", "bright one", "two-gang")
NETWORKS = ("bare", "330p", "gang(500k, linear, zero) + 390p")
PROBE = "window.audition"


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page")
    tables = (
        f"[[design]]\nname = {json.dumps(name)}\nnetwork = {json.dumps(network)}\n"
        for name, network in zip(NAMES, NETWORKS, strict=True)
    )
    (folder / "designs.toml").write_text("".join(tables))
    # A steady tone, in which a gap or a click cannot hide.
    tone = 0.3 * np.sin(2 * np.pi * 440 * np.arange(4 * 44_100) / 44_100)
    soundfile.write(folder / "tone.wav", tone, 44_100)
    result = presolder(
        "pack", folder / "tone.wav", "--designs", folder / "designs.toml", "--hold", "10,6,3",
        "--travel", "4", "--dirt", "smooth", "--recordings", "--workshop", "<b>Bench</b>", "--note",
        "Try <i>held at 6</i> first", "--light", "--out", folder / "out",
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    return probed(folder / "out" / "index.html")


@pytest.fixture
def page(browser: Browser, page_file: Path) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    seen: list[str] = []
    page.on(
        "console", lambda message: seen.append(message.text) if message.type == "error" else None
    )
    page.on("pageerror", lambda error: seen.append(str(error)))
    requests: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    page.goto(page_file.as_uri())
    # The live engine has its own tests; these are of the recordings.
    page.get_by_label("recorded: knob turning").check(force=True)
    yield page
    assert seen == []
    # The page itself (of which Firefox does not tell), blobs that it makes, and its own audio
    # thread; nothing else, least of all from a network.
    asked = {url for url in requests if not url.startswith(("blob:", "data:"))}
    assert asked <= {page_file.as_uri()}
    context.close()


def playing(page: Page) -> None:
    page.get_by_role("button", name="Play", exact=True).click()
    until(page, f"{PROBE}.state.playing && {PROBE}.positionS() > 0.1")


def test_user_text_is_escaped(page: Page) -> None:
    assert "Try <i>held at 6</i> first" in page.locator("#note").inner_text()
    assert page.locator("#designs button").first.inner_text().endswith(NAMES[0])
    assert page.locator("b, i").count() == 0
    assert page.locator("script").count() == 0


# Where the recording and the sound's clock stand at one instant: the clock may tick in between.
PLACE = f"""() => {{
  for (;;) {{
    const clock = {PROBE}.clockS(), place = [{PROBE}.positionS(), clock, {PROBE}.startedAtS()];
    if ({PROBE}.clockS() === clock) return place;
  }}
}}"""


@pytest.mark.thorough
def test_switching_keeps_the_position(page: Page) -> None:
    playing(page)
    before = page.evaluate(PLACE)
    for i in (1, 2, 0, 2):
        page.locator("#designs button").nth(i).click()
        after = page.evaluate(PLACE)
        assert page.evaluate(f"{PROBE}.state.design") == i
        moved, passed = after[0] - before[0], after[1] - before[1]
        assert moved == pytest.approx(passed, abs=1e-9)
        assert after[2] == before[2]


@only_chromium
def test_switching_leaves_no_gap_and_no_click(page: Page) -> None:
    """The page's own voices in an OfflineAudioContext, switched in mid-tone."""
    samples = page.evaluate(
        """async () => {
            const a = window.audition;
            a.state.place = "10"; a.state.level = "matched";
            const ctx = new OfflineAudioContext(1, 44100 * 2, 44100);
            const buffers = await a.recordings.loadBuffers(ctx);
            const voices = a.recordings.startVoices(ctx, buffers, 0, 0, 0.5, true);
            ctx.suspend(0.7).then(() => { a.recordings.fadeTo(voices, 1, 0.7); ctx.resume(); });
            ctx.suspend(1.3).then(() => { a.recordings.fadeTo(voices, 2, 1.3); ctx.resume(); });
            const out = (await ctx.startRendering()).getChannelData(0);
            a.state.place = "sweep"; a.state.level = "true";
            return Array.from(out);
        }"""
    )
    audio = np.array(samples)[2000:-2000]
    peaks = np.abs(audio[: audio.size // 110 * 110].reshape(-1, 110)).max(axis=1)
    # At dial 10 all designs are the same circuit: the tone must not dip or jump,
    # which it would by a misalignment of even a few samples.
    assert peaks.min() > 0.93 * peaks.max()
    bend = np.abs(np.diff(audio, 2))
    assert bend.max() < 1.15 * np.percentile(bend, 99)


@pytest.mark.thorough
def test_held_positions_levels_and_voices(page: Page) -> None:
    page.get_by_label("recorded: held at 3").check(force=True)
    playing(page)
    page.get_by_text("matched", exact=True).click()
    page.locator("input[name=voice][value=dirt]").check(force=True)
    until(page, f"{PROBE}.state.playing && {PROBE}.state.voice === 'dirt'")
    state = page.evaluate(f"({{...{PROBE}.state}})")
    assert (state["place"], state["level"], state["voice"]) == ("3", "matched", "dirt")
    assert page.evaluate(f"{PROBE}.dialNow()") == 3


@pytest.mark.thorough
def test_recordings_are_said_to_be_such(page: Page) -> None:
    """Whoever turns the knob hears the engine, through the same dirt."""
    page.locator("input[name=voice][value=dirt]").check(force=True)
    assert page.evaluate(f"{PROBE}.state.place") == "sweep"
    page.locator("#knob").focus()
    page.keyboard.press("ArrowDown")
    assert page.evaluate(f"{PROBE}.state.place") == "live"
    assert page.get_by_label("turn it yourself").is_checked()
    assert page.locator("#dirt").input_value() == "0"
    assert page.locator("#dirt option:checked").inner_text() == "soft clipping"


def test_keyboard_alone(page: Page) -> None:
    page.locator("h1").click()
    page.keyboard.press("Space")
    until(page, f"{PROBE}.state.playing")
    page.keyboard.press("2")
    assert page.evaluate(f"{PROBE}.state.design") == 1
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "knob"
    page.keyboard.press("Home")
    until(page, f"{PROBE}.dialNow() === 0")
    reached = set()
    for _ in range(30):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.id || document.activeElement.name"))
    assert {"play", "place", "level", "voice", "blind"} <= reached
    page.locator("#designs button").nth(1).focus()
    page.keyboard.press("ArrowRight")
    assert page.evaluate(f"{PROBE}.state.design") == 2


def names_found(page: Page) -> list[str]:
    text = page.content() + _tree(page)
    told = ("bright one", "two-gang", "alert(1)", "330p", "390p")
    assert page.locator("#pot text").count() == 0 or any(name in text for name in told)
    return [name for name in told if name in text]


def _tree(page: Page) -> str:
    """What is read aloud; all of it where the browser tells."""
    assert page.context.browser is not None
    if page.context.browser.browser_type.name != "chromium":
        return page.locator("body").aria_snapshot()
    session = page.context.new_cdp_session(page)
    return str(session.send("Accessibility.getFullAXTree"))


def hear_all(page: Page) -> None:
    """All three of a trial, long enough to count."""
    for which in ("first", "second", "hidden"):
        page.locator(f"#hear-{which}").click()
        until(page, f"{PROBE}.state.playing")
        index = ("first", "second", "hidden").index(which)
        until(page, f"{PROBE}.blind.run().heard[{index}] >= 0.4")


def test_blind_round_hides_names_and_scores(page: Page) -> None:
    """Eight trials; the score at the end only; pair, loudness and dial fixed within the run."""
    assert len(names_found(page)) == 5
    page.get_by_role("button", name="Hide the names").click()
    assert names_found(page) == []
    assert page.locator("#designs button").all_inner_texts() == ["Sample A", "Sample B", "Sample C"]
    # Matched by default, and 16 trials.
    assert page.evaluate(f"{PROBE}.state.level") == "matched"
    assert page.locator("#trials").input_value() == "16"
    page.get_by_label("Rating of Sample B").select_option("4")
    page.get_by_label("Rank of Sample A").select_option("1")
    page.get_by_label("Rank of Sample B").select_option("1")
    assert page.get_by_label("Rank of Sample A").input_value() == "0"
    page.locator("#trials").select_option("8")
    page.get_by_role("button", name="Start the run").click()
    until(page, f"{PROBE}.blind.run() !== null")
    assert page.locator("#first").is_disabled()
    assert page.get_by_label("true", exact=True).is_disabled()
    for trial in range(8):  # seven right answers, one wrong
        assert page.locator("#is-first").is_disabled()
        hear_all(page)
        if trial == 2:  # stopping and starting must not give the hidden one away either
            page.locator("#play").click()
            page.locator("#play").click()
            until(page, f"{PROBE}.state.playing")
        assert page.locator("#designs [aria-checked=true]").count() == 0
        hidden = page.evaluate(f"{PROBE}.blind.run().hidden")
        page.locator(("#is-first", "#is-second")[hidden if trial else 1 - hidden]).click()
        assert not page.evaluate(f"{PROBE}.state.playing")
        if trial == 3:
            assert "right" not in page.locator("#tally").inner_text()
    tally = page.locator("#tally").inner_text()
    # At least 7 of 8 by guessing: (8 + 1) / 256.
    assert tally.startswith("The run is over: 7 of 8 right.")
    assert f"the chance of that many or more is {9 / 256:.3f}." in tally
    assert names_found(page) == []
    order = page.evaluate(f"{PROBE}.blind.shown()")
    page.get_by_role("button", name="Reveal and finish").click()
    text = page.locator("#result-text").input_value()
    assert f"Sample B was {NAMES[order[1]]}: rating 4, rank 1" in text
    assert "7 of 8 right" in text and "matched loudness" in text and "knob turning" in text
    assert len(names_found(page)) == 5
    assert saved(page, "Save as text").read_text() == text
    results = json.loads(saved(page, "Save as JSON").read_text())
    (run,) = results["runs"]
    assert (run["right"], run["trials"], run["loudness"]) == (7, 8, "matched")
    assert run["by_guessing"] == pytest.approx(9 / 256)
    assert len(run["answers"]) == 8 and all(a["seconds"] >= 1.2 for a in run["answers"])
    assert sum(a["hidden"] == a["answer"] for a in run["answers"]) == 7


CONTEST = """({ order, likes, seed }) => {
  let state = seed;
  const random = (n) => { state = (1103515245 * state + 12345) % 2147483648; return (state >> 8) % n; };
  const contest = makeContest(order, null, random), asked = [];
  while (!contest.over()) {
    const [first, second] = contest.pair();
    asked.push([first, second]);
    contest.answer(likes === null ? null : likes.indexOf(first) < likes.indexOf(second) ? 0 : 1);
  }
  return { asked, questions: contest.questions, result: contest.result() };
}"""


def test_the_order_is_by_lot() -> None:
    """The best is heard first about as often as second."""
    given = {"order": list(range(8)), "likes": list(range(8))}
    places = [
        tuple(pair).index(0)
        for seed in range(12)
        for pair in in_node(CONTEST, given | {"seed": seed}, favourite="makeContest")["asked"][7:]
    ]
    assert 0.25 < np.mean(places) < 0.75


@pytest.mark.parametrize("seed", range(6))
def test_who_ranks_without_doubt_finds_the_favourite(seed: int) -> None:
    """The first of the ranking; it meets the others once more, in an order by lot."""
    rng = np.random.default_rng(seed)
    order, likes = rng.permutation(8).tolist(), rng.permutation(8).tolist()
    given = {"order": order, "likes": likes, "seed": seed}
    found = in_node(CONTEST, given, favourite="makeContest")
    result = found["result"]
    assert result["best"] == likes[0] and result["again"] and result["equals"] == []
    # Seven meetings, then six more of the best, which settle it.
    assert len(found["asked"]) == 7 + 6 < found["questions"] == 14
    pairs = found["asked"][7:]
    assert all(result["best"] in pair for pair in pairs)
    assert len({tuple(sorted(pair)) for pair in pairs}) == 6


def test_no_favourite_for_who_likes_none_better() -> None:
    given = {"order": [2, 0, 1], "likes": None, "seed": 1}
    found = in_node(CONTEST, given, favourite="makeContest")
    assert not found["result"]["again"] and sorted(found["result"]["equals"]) == [0, 1]
    # Over as soon as it cannot be one any more.
    assert len(found["asked"]) == 2 + 2


# Listeners by lot: what each answers of a pair, where 0 is the one that is truly better.
LISTENERS = """({ runs, kind, seed }) => {
  let state = seed;
  const unit = () => { state = (1664525 * state + 1013904223) % 4294967296; return state / 4294967296; };
  const random = (n) => Math.floor(n * unit());
  let any = 0, right = 0;
  for (let r = 0; r < runs; r += 1) {
    const order = [...Array(8).keys()];
    for (let i = 7; i > 0; i -= 1) { const j = random(i + 1); [order[i], order[j]] = [order[j], order[i]]; }
    const contest = makeContest(order, null, random);
    while (!contest.over()) {
      const [first, second] = contest.pair();
      const better = first < second ? 0 : 1;
      contest.answer(kind === "second" ? 1 : unit() < kind ? better : 1 - better);
    }
    const found = contest.result();
    if (found.again) { any += 1; if (found.best === 0) right += 1; }
  }
  return [any / runs, right / runs];
}"""
SIMULATED = {"guesses": 0.5, "second": "second", "70": 0.7, "90": 0.9}


@pytest.mark.parametrize(("who", "kind"), list(SIMULATED.items()))
def test_a_false_favourite_is_rare(who: str, kind: float | str) -> None:
    """The page says one run in 16 of who guesses; docs/model.md has the table."""
    from scipy.stats import binom

    given = {"runs": 4000, "kind": kind, "seed": 5}
    found, true = in_node(LISTENERS, given, favourite="makeContest")
    # Who hears nothing has no true favourite; who hears something may name another.
    false = found if kind in (0.5, "second") else found - true
    assert false <= 0.10
    if kind in (0.5, "second"):
        assert false == pytest.approx(binom.sf(5, 7, 0.5), abs=0.012)
    row = re.search(rf"^\| {who}.*$", (DOCS / "model.md").read_text("utf-8"), re.MULTILINE)
    assert row is not None
    told = [float(cell.strip(" %")) for cell in row[0].split("|")[2:4]]
    assert told == pytest.approx([100 * found, 100 * false], abs=1.0)


def test_what_a_null_result_means() -> None:
    """The power of a run for who is right seven times of ten, and the chance over several runs."""
    from scipy.stats import binom

    for total in (8, 16, 32):
        needed = next(k for k in range(total + 1) if binom.sf(k - 1, total, 0.5) <= 0.05)
        got = in_node("(total) => power(total)", total, blind="power")
        assert got == pytest.approx(binom.sf(needed - 1, total, 0.7), rel=1e-9)
    said = in_node("([r, n, k]) => meaning(r, n, k)", [12, 16, 3], blind="meaning")
    one = binom.sf(11, 16, 0.5)
    assert f"{one:.3f}" in said and f"{1 - (1 - one) ** 3:.3f}" in said
    assert "does not show that there is no difference" in said
    sure = in_node("([r, n, k]) => meaning(r, n, k)", [16, 16, 1], blind="meaning")
    assert "does not show" not in sure


def test_finding_a_favourite_on_the_page(page: Page) -> None:
    """Names hidden, both heard before an answer, told at the end by its letter and then by name."""
    page.get_by_label("turn it yourself").check(force=True)
    page.evaluate(f"{PROBE}.live.turn(5)")
    page.get_by_role("button", name="Hide the names").click()
    liked = page.evaluate(f"{PROBE}.blind.shown()[1]")
    page.get_by_role("button", name="Find my favourite").click()
    for question in range(2 + 6):
        until(
            page,
            f"document.getElementById('liked').textContent.startsWith('Question {question + 1}')",
        )
        assert page.locator("#like-one").is_disabled()
        assert f"Question {question + 1} of at most 9" in page.locator("#liked").inner_text()
        for which in ("one", "other"):
            page.locator(f"#hear-{which}").click()
            until(
                page,
                f"!document.getElementById('like-{which}').disabled || {PROBE}.blind.contest().heard[{('one', 'other').index(which)}] >= 0.4",
            )
        assert page.locator("#designs [aria-checked=true]").count() == 0
        pair = page.evaluate(f"{PROBE}.blind.contest().asking.pair()")
        answer = "one" if pair[0] == liked else "other" if pair[1] == liked else "neither"
        until(page, f"!document.getElementById('like-{answer}').disabled")
        page.locator(f"#like-{answer}").click()
    assert "Your favourite is Sample B" in page.locator("#liked").inner_text()
    assert names_found(page) == []
    page.get_by_role("button", name="Reveal and finish").click()
    text = page.locator("#result-text").input_value()
    assert f"Favourite, liked again nearly every time: {NAMES[liked]}" in text
    assert "dial 5.0" in text


@pytest.mark.thorough
def test_a_run_outlives_a_reload_and_can_be_given_up(page: Page, page_file: Path) -> None:
    page.get_by_label("turn it yourself").check(force=True)
    page.evaluate(f"{PROBE}.live.turn(6)")
    page.get_by_role("button", name="Hide the names").click()
    page.get_by_role("button", name="Start the run").click()
    until(page, f"{PROBE}.blind.run() !== null")
    # Which one is hidden cannot be looked up.
    assert '"hidden":null' in page.evaluate("JSON.stringify(localStorage)").replace(
        "\\\\", ""
    ).replace("\\", "")
    hear_all(page)
    page.locator("#is-first").click()
    before = page.evaluate(f"[{PROBE}.blind.shown(), {PROBE}.blind.run().answers.length]")
    page.goto(page_file.as_uri() + "#led")
    page.reload()
    after = page.evaluate(f"[{PROBE}.blind.shown(), {PROBE}.blind.run().answers.length]")
    assert after == before and after[1] == 1
    assert names_found(page) == []
    assert page.evaluate(f"{PROBE}.dialNow()") == 6
    # Within a run the knob stays.
    page.locator("#knob").focus()
    page.keyboard.press("Home")
    assert page.evaluate(f"{PROBE}.dialNow()") == 6
    page.get_by_role("button", name="Give up this run").click()
    assert "the results say so" in page.locator("#tally").inner_text()
    page.get_by_role("button", name="Reveal and finish").click()
    told = page.locator("#result-text").input_value()
    assert "Told" not in told and "Given up: 1 run." in told


@pytest.mark.parametrize(("right", "total"), [(0, 3), (8, 10), (16, 16), (30, 50)])
def test_exact_binomial(right: int, total: int) -> None:
    """Against scipy's binomial survival function."""
    from scipy.stats import binom

    got = in_node("([right, total]) => guessing(right, total)", [right, total], blind="guessing")
    assert got == pytest.approx(binom.sf(right - 1, total, 0.5), rel=1e-9)


def test_what_the_deciding_commands_say_is_on_the_page(page: Page, page_file: Path) -> None:
    """Need, figures of merit, and parts and wiring; the bare pot needs no sheet."""
    about = page.locator("#about")
    assert "Does one help, for a player who rolls back a little? Hardly:" in about.inner_text()
    assert "Judged on humbucker-500k, into smooth dirt: rolls-back" in about.inner_text()
    cards = page.locator("#about article")
    figures = [card.locator("dd").all_inner_texts() for card in cards.all()]
    contents = json.loads((page_file.parent / "pack.json").read_text())["designs"]
    for shown, design in zip(figures, contents, strict=True):
        own = design["figures"]
        duller, brighter, louder = (
            round(float(np.dot(own[key], own["counts"])), 1) + 0.0
            for key in ("duller_db", "brighter_db", "taper_shift_phon")
        )
        assert shown[0] == f"{duller:.1f} dB"
        assert shown[1] == f"{brighter:.1f} dB"
        assert shown[2] == f"{louder:+.1f} phon"
    assert [card.locator("details").count() for card in cards.all()] == [0, 1, 1]
    gang = cards.nth(2)
    gang.locator("summary").click()
    assert "must be a dual-gang part" in gang.inner_text()
    assert "Never open a mains-powered amplifier" in gang.inner_text()
    assert gang.locator("svg[role=img]").count() == 2
    sheets = sorted(path.name for path in (page_file.parent / "sheets").iterdir())
    assert sheets == ["02_bright_one.html", "03_two-gang.html"]


@pytest.mark.parametrize(
    ("size", "look"),
    [
        ((360, 740), {"color_scheme": "light"}),
        # Other sizes of the same page.
        pytest.param((1440, 900), {"color_scheme": "dark"}, marks=pytest.mark.thorough),
        pytest.param((1440, 900), {"forced_colors": "active"}, marks=pytest.mark.thorough),
        # A laptop's window at 200 %.
        pytest.param((720, 450), {"color_scheme": "light"}, marks=pytest.mark.thorough),
    ],
)
def test_accessible_and_fits(
    browser: Browser, page_file: Path, size: tuple[int, int], look: dict[str, Any]
) -> None:
    """axe-core finds nothing by WCAG 2.2 A and AA, contrast by AAA; nothing runs off the side."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, bypass_csp=True, **look
    )
    page = context.new_page()
    # With the first half minute before the bench.
    page.goto(page_file.as_uri() + "#led")
    assert page.locator("#lead").is_visible()
    for summary in page.locator("details summary").all():
        summary.click()
    assert page.locator("details[open]").count() == 2
    page.locator("#designs button").nth(2).click()
    page.locator("#choose-this").click()
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "wcag2aaa"]
    for blind in (False, True):
        if blind:
            page.get_by_role("button", name="Hide the names").click()
        # Colours change over a fraction of a second.
        page.wait_for_timeout(500)
        options = {"runOnly": {"type": "tag", "values": tags}}
        found = Axe().run(page, options=options).response["violations"]
        assert [(v["id"], v["nodes"][0]["html"]) for v in found] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    context.close()


def test_each_chart_has_a_name_of_its_own(page: Page) -> None:
    names = page.locator("svg[role=img], svg[role=slider]").evaluate_all(
        "(all) => all.map((one) => one.getAttribute('aria-label'))"
    )
    assert len(names) >= 6 and len(set(names)) == len(names)
    assert any("bright one: loudness" in name for name in names)


@only_chromium
def test_without_script_the_reel_plays(browser: Browser, page_file: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(page_file.as_uri())
    source = page.locator("noscript audio").get_attribute("src")
    assert source is not None and (page_file.parent / source).stat().st_size > 1000
    # Nothing that needs the script stands before it, or anywhere.
    assert page.locator("#play").is_hidden() and page.locator("#blind").is_hidden()
    assert page.locator("#about").is_visible()
    context.close()


@pytest.mark.thorough
@only_chromium
def test_on_paper(browser: Browser, page_file: Path) -> None:
    """What to expect, and no controls; no card is split."""
    page = browser.new_page()
    page.goto(page_file.as_uri())
    page.emulate_media(media="print")
    for hidden in (".deck", "#parts", "#yours", ".blind", "#played", "#answer"):
        assert page.locator(hidden).is_hidden()
    assert page.locator("#about").is_visible()
    # Ink on paper, whatever the screen prefers.
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    kept = page.locator(".card").first.evaluate("(e) => getComputedStyle(e).breakInside")
    assert kept == "avoid"
    page.close()


@pytest.mark.thorough
def test_from_a_server_too(browser: Browser, page_file: Path) -> None:
    """By http nothing but the page itself is asked for, and it plays."""
    handler = partial(QuietHandler, directory=str(page_file.parent))
    with ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        page = browser.new_page()
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        url = f"http://127.0.0.1:{server.server_port}/{page_file.name}"
        page.goto(url)
        page.get_by_role("button", name="Play", exact=True).click()
        until(page, f"{PROBE}.state.playing && {PROBE}.live.positionS() > 0.1")
        page.locator("#dirt").select_option("")
        until(page, f"{PROBE}.live.voice()?.dirt === null")
        assert {one for one in asked if not one.startswith(("data:", "blob:"))} == {url}
        page.close()
        server.shutdown()


class QuietHandler(SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        pass


def test_nothing_starts_louder_than_it_stopped(page: Page) -> None:
    """From held at 3 to held at 10, 30 LU and more: the gain begins where the other stopped."""
    page.get_by_label("recorded: held at 3").check(force=True)
    playing(page)
    page.wait_for_timeout(300)
    page.get_by_label("recorded: held at 10").check(force=True)
    until(page, f"{PROBE}.state.playing && {PROBE}.recordings.playing()")
    first = page.evaluate(f"{PROBE}.recordings.fadedIn()")
    assert first < 0.3
    page.wait_for_timeout(300)
    assert first < page.evaluate(f"{PROBE}.recordings.fadedIn()") < 1


def test_what_is_not_played_is_not_kept_decoded(page: Page) -> None:
    """Three designs at one place, whatever was heard before."""
    playing(page)
    for place in ("10", "6", "3"):
        page.locator(f"input[name=place][value='{place}']").check(force=True)
        until(
            page,
            f"{PROBE}.state.playing && {PROBE}.recordings.playing() && {PROBE}.state.place === '{place}'",
        )
        assert page.evaluate(f"{PROBE}.recordings.cached()") == 3


@pytest.mark.thorough
def test_screenshot_for_the_readme(
    browser: Browser, tmp_path: Path, pytestconfig: pytest.Config
) -> None:
    """Of the demo's pack; ``pytest --pictures`` puts it into docs."""
    result = presolder("demo", "--pack", "--light", "--out", tmp_path / "pack")
    assert result.returncode == 0, result.stderr
    context = browser.new_context(
        viewport={"width": 1100, "height": 1000}, color_scheme="light", reduced_motion="reduce"
    )
    page = context.new_page()
    page.goto((tmp_path / "pack" / "index.html").as_uri())
    page.locator("#designs button").nth(3).click()
    picture = page.screenshot(path=tmp_path / "page.png")
    assert len(picture) > 20_000
    page.goto(next((tmp_path / "pack" / "sheets").glob("*_series-strong.html")).as_uri())
    page.set_viewport_size({"width": 800, "height": 760})
    sheet = page.screenshot()
    assert len(sheet) > 20_000
    if pytestconfig.getoption("--pictures"):
        pictures = DOCS / "pictures"
        (pictures / "page.png").write_bytes(picture)
        (pictures / "sheet.png").write_bytes(sheet)
    context.close()
