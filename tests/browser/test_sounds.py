"""The four sounds: told apart by their beat as well as by their pitch, never before a touch, as loud as this station wants."""

from __future__ import annotations

from itertools import pairwise

import pytest
from playwright.sync_api import BrowserContext, Page

from app.domain.numbers import COMMANDS
from tests.browser.conftest import Served, answered, enrol, scan
from tests.browser.test_access import violations

KINDS = ("done", "not-yet", "stop", "which-one")
NOTES = {"done": 2, "not-yet": 1, "stop": 3, "which-one": 4}
RATE = 8000
WINDOW = RATE // 200  # 5 ms
# Counts the contexts that are opened and the notes that are begun, and lets the notes sound.
LISTEN = """(() => {
  window.opened = 0; window.begun = 0;
  const Real = window.AudioContext, start = OscillatorNode.prototype.start;
  window.AudioContext = class extends Real { constructor() { super(); window.opened += 1; } };
  OscillatorNode.prototype.start = function (...when) { window.begun += 1; return start.apply(this, when); };
})();"""
RENDER = """async ([kind, loudness, rate]) => {
  const context = new OfflineAudioContext(1, rate, rate);
  window.blotterSounds.write(context, kind, loudness, 0.1);
  return Array.from((await context.startRendering()).getChannelData(0));
}"""


@pytest.fixture
def press(served: Served, context: BrowserContext, page: Page) -> Page:
    page.add_init_script(LISTEN)
    enrol(served, context, "press")
    page.goto(served.url("/station"))
    return page


def heard(page: Page, kind: str, loudness: int = 2) -> list[float]:
    samples: list[float] = page.evaluate(RENDER, [kind, loudness, RATE])
    return samples


def notes_in(samples: list[float]) -> list[tuple[int, int]]:
    """The stretches that are heard, as first and last sample: a tenth of the loudest, in windows of 5 ms."""
    loudest = max(map(abs, samples))
    is_heard = [max(map(abs, samples[at : at + WINDOW])) > loudest / 10 for at in range(0, len(samples), WINDOW)]
    edges = [at for at, (was, now) in enumerate(pairwise([False, *is_heard, False])) if was != now]
    return [(begin * WINDOW, end * WINDOW) for begin, end in zip(edges[::2], edges[1::2], strict=True)]


def pitch(samples: list[float]) -> float:
    """By how often the middle of a note goes up through nothing; in Hz."""
    middle = samples[len(samples) // 5 : -len(samples) // 5]
    ups = [at for at, (was, now) in enumerate(pairwise(middle)) if was <= 0 < now]
    return RATE * (len(ups) - 1) / (ups[-1] - ups[0])


def test_each_sound_has_its_own_beat_and_its_own_pitches(press: Page) -> None:
    beats, pitches = {}, {}
    for kind in KINDS:
        samples = heard(press, kind)
        stretches = notes_in(samples)
        beats[kind] = [(end - begin) / RATE for begin, end in stretches]
        pitches[kind] = [pitch(samples[begin:end]) for begin, end in stretches]
        assert (stretches[-1][1] - stretches[0][0]) / RATE < 0.7, f"{kind} is short"
        assert all(300 < each < 1000 for each in pitches[kind]), f"{kind}: {pitches[kind]}"
    assert {kind: len(beat) for kind, beat in beats.items()} == NOTES
    assert beats["not-yet"][0] > 2 * max(beats["done"]), "one long, against short ones"
    assert pitches["done"][1] > 1.3 * pitches["done"][0], "done rises"
    assert (
        max(pitches["stop"]) < 1.05 * min(pitches["stop"]) < min(map(min, (pitches["done"], pitches["which-one"])))
    ), "stop is level, and the lowest"
    first, second, third, fourth = pitches["which-one"]
    assert first > 1.3 * second and abs(first - third) < 20 and abs(second - fourth) < 20, "to and fro"


def test_each_loudness_is_louder_than_the_one_below_and_nothing_is_cut_off(press: Page) -> None:
    for kind in KINDS:
        peaks = [max(map(abs, heard(press, kind, loudness))) for loudness in range(4)]
        assert peaks[0] == 0 and peaks == sorted(set(peaks)) and peaks[3] < 0.9, kind


def begun(page: Page) -> int:
    return int(page.evaluate("window.begun"))


def notes_of(page: Page, code: str, word: str) -> int:
    before = begun(page)
    scan(page, code)
    answered(page, word)
    page.wait_for_timeout(700)
    return begun(page) - before


def test_each_answer_has_its_sound(served: Served, press: Page) -> None:
    room = served.room
    room.wait(hours=-3)
    lies = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=3)
    assert notes_of(press, COMMANDS["help"], "Help.") == NOTES["done"]
    assert notes_of(press, lies, "Not yet.") == NOTES["not-yet"]
    assert notes_of(press, "TQX 999999 9", "Stop.") == NOTES["stop"]
    assert notes_of(press, COMMANDS["no-number"], "Which one?") == NOTES["which-one"]
    assert press.evaluate("window.opened") == 1


def test_nothing_is_opened_before_a_key_or_a_touch(served: Served, context: BrowserContext, page: Page) -> None:
    # By the page itself: what a test asks a page to evaluate counts as a touch.
    answers = "document.body.dispatchEvent(new CustomEvent('scanned', {detail: 'done'}));"
    keys = "document.dispatchEvent(new KeyboardEvent('keydown', {key: 'T', bubbles: true}));"
    page.add_init_script(LISTEN)
    page.add_init_script(f"addEventListener('load', () => {{ {answers} {keys} {answers} window.told = true; }});")
    page.add_init_script("addEventListener('load', () => { document.title = `${window.opened} ${window.begun}`; });")
    enrol(served, context, "press")
    page.goto(served.url("/station"))
    assert page.title() == "0 0", "nobody has touched anything"
    page.keyboard.press("ArrowDown")
    page.wait_for_timeout(300)
    assert page.evaluate("[window.told, window.opened, window.begun]") == [True, 1, 0], (
        "what was answered before is not sounded late"
    )


def test_a_sound_ends_the_one_before(press: Page) -> None:
    press.keyboard.press("ArrowDown")
    press.evaluate("""() => { window.cut = 0; const cut = GainNode.prototype.disconnect;
        GainNode.prototype.disconnect = function () { window.cut += 1; return cut.call(this); }; }""")
    press.get_by_text("Try the sounds").click()
    for name in ("Done", "Not yet", "Stop"):
        press.locator("#sounds details").get_by_role("button", name=name).click()
        press.wait_for_timeout(100)
    assert begun(press) == 2 + 1 + 3 and press.evaluate("window.cut") == 2


def test_they_are_tried_by_a_button(press: Page) -> None:
    press.get_by_text("Try the sounds").click()
    for name, notes in (("Done", 2), ("Not yet", 1), ("Stop", 3), ("Which one?", 4)):
        before = begun(press)
        press.locator("#sounds details").get_by_role("button", name=name).click()
        press.wait_for_timeout(300)
        assert begun(press) - before == notes, name


def test_axe_finds_nothing_where_they_are_tried(press: Page) -> None:
    press.get_by_text("Try the sounds").click()
    assert violations(press) == {}


def said(page: Page) -> str:
    return page.locator("#sounds-say").inner_text()


def test_loudness_and_mute_are_kept_for_the_station(served: Served, context: BrowserContext, press: Page) -> None:
    assert said(press) == "Sound is on, loudness 2 of 3."
    press.get_by_role("button", name="Louder").click()
    press.get_by_role("button", name="Louder").click()
    assert said(press) == "Sound is on, loudness 3 of 3."
    press.get_by_role("button", name="Turn the sound off").click()
    assert said(press) == "Sound is off: the answers are only shown."
    press.reload()
    assert said(press) == "Sound is off: the answers are only shown."
    assert notes_of(press, COMMANDS["help"], "Help.") == 0
    enrol(served, context, "intake")
    press.goto(served.url("/station"))
    assert said(press) == "Sound is on, loudness 2 of 3.", "another station's browser has its own"
    enrol(served, context, "press")
    press.goto(served.url("/station"))
    press.get_by_role("button", name="Turn the sound on").click()
    assert said(press) == "Sound is on, loudness 3 of 3."
    for loudness in (2, 1):
        press.get_by_role("button", name="Quieter").click()
        assert said(press) == f"Sound is on, loudness {loudness} of 3."
    press.get_by_role("button", name="Quieter").click()
    assert said(press) == "Sound is off: the answers are only shown."
    press.get_by_role("button", name="Turn the sound on").click()
    assert said(press) == "Sound is on, loudness 2 of 3."


def test_the_buttons_work_by_keyboard_and_keep_the_focus(press: Page) -> None:
    press.get_by_role("button", name="Louder").focus()
    press.keyboard.press("Enter")
    assert said(press) == "Sound is on, loudness 3 of 3."
    assert press.evaluate("document.activeElement.id") == "louder"


@pytest.mark.parametrize(
    "lacks",
    ["delete window.AudioContext;", "Storage.prototype.getItem = Storage.prototype.setItem = () => { throw new Error('no'); };",
     "window.AudioContext = class { constructor() { throw new Error('no'); } };",
     "localStorage.setItem('blotter-sounds-press', '{not what was kept');"],
    ids=["no-audio", "no-storage", "audio-breaks", "storage-broken"],
)  # fmt: skip
def test_the_station_works_without_sound(served: Served, context: BrowserContext, page: Page, lacks: str) -> None:
    page.add_init_script(lacks)
    enrol(served, context, "press")
    page.goto(served.url("/station"))
    scan(page, COMMANDS["help"])
    answered(page, "Help.")
    page.get_by_role("button", name="Louder").click()
    assert ("makes no sounds" in said(page)) is lacks.startswith("delete")
    scan(page, COMMANDS["no-number"])
    answered(page, "Which one?")
