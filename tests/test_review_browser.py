"""The review of the demo visit in a real browser, by mouse and by keys; what is heard, and who can use it.

The sound is the demo's; the words are its texts, spread over each recording (`demo_visit` of reviewing.py).
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from reviewing import chromium, demo_visit, large_visit, record_with, served, violations
from test_review_door import png

import voicenotes
from voicenotes.corrections.apply import reviewed
from voicenotes.corrections.journal import read_corrections
from voicenotes.corrections.reviewed_values import Reviewed
from voicenotes.model import Record
from voicenotes.review.door import Keys
from voicenotes.visit import load_record
from voicenotes.vocabulary.schema import Pack

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

VIEWS = ("look", "places", "severity", "open", "loose", "machine", "changes", "report")
PANELS_ARE_THERE = (
    "[...document.querySelectorAll('details.panel[open] > .inside')].every(e => e.children.length)"
)
SCRIPT = "<script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">"


@pytest.fixture(scope="module")
def pack() -> Pack:
    return voicenotes.load_pack("cnc_lathe")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as browser:
        yield browser


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, pack: Pack) -> Path:
    return demo_visit(tmp_path_factory.mktemp("made") / "demo", pack)


@pytest.fixture
def visit(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "demo"))


@pytest.fixture
def keys(visit: Path, pack: Pack) -> Iterator[Keys]:
    with served(visit, pack) as keys:
        yield keys


@pytest.fixture
def page(browser: Browser, keys: Keys) -> Iterator[Page]:
    yield from opened(browser, keys)


@pytest.fixture(scope="module")
def shared(made: Path, pack: Pack) -> Iterator[Keys]:
    """A server for tests that correct nothing."""
    with served(made, pack) as keys:
        yield keys


@pytest.fixture
def reading(browser: Browser, shared: Keys) -> Iterator[Page]:
    """A page to look at and to listen to."""
    yield from opened(browser, shared)


def opened(browser: Browser, keys: Keys, width: int = 1280, height: int = 900) -> Iterator[Page]:
    """The review's first page. Nothing may be asked of any other address, and no script may complain."""
    context = browser.new_context(viewport={"width": width, "height": height})
    page = context.new_page()
    page.set_default_timeout(8_000)
    complaints: list[str] = []
    asked: list[str] = []
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(keys.address)
    page.wait_for_selector("#counts")
    yield page
    context.close()
    assert [url for url in asked if not url.startswith(keys.origin + "/")] == []
    assert [line for line in complaints if "409 (Conflict)" not in line and "422 (" not in line] == []


def stands(visit: Path, pack: Pack) -> Reviewed:
    return reviewed(load_record(visit), read_corrections(visit), pack)


def card(page: Page, check: str) -> Locator:
    return page.locator(f'[id="c-{check}"]')


def told(page: Page, words: str) -> None:
    page.locator("#told", has_text=words).wait_for()


def show(page: Page, view: str) -> None:
    page.goto(page.url.split("/?")[0].rstrip("/") + f"/?view={view}", wait_until="domcontentloaded")


def until(page: Page, condition: str) -> None:
    """Wait for something to be so in the page (Playwright's own way needs scripts that the page forbids)."""
    for _ in range(400):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(20)
    raise AssertionError(f"never came true: {condition}")


def change(page: Page, check: str, label: str) -> None:
    card(page, check).locator("details.change > summary").click()
    card(page, check).get_by_role("button", name=label).click()


# --- the whole review -------------------------------------------------------------------------------


def test_a_review_by_mouse(page: Page, visit: Path, pack: Pack, tmp_path: Path) -> None:
    """Everything that can be done, each in at most three actions, and what it leaves in the record."""
    count = page.locator("#counts .count")
    before = count.inner_text()
    doubtful = page.locator("article.card.doubtful").first
    first = (doubtful.get_attribute("id") or "")[2:]
    doubtful.locator("button.confirm").click()
    told(page, "confirmed")
    assert count.inner_text() != before
    show(page, "severity")
    assert page.locator(".group-title").first.inner_text().startswith("Defect, critical")
    change(page, "safety.door_interlock", "Defect, major")
    told(page, "Door interlock: set to defect, major")
    change(page, "spindle.noise", "In order")
    told(page, "set to in order")
    page.locator("#told button").click()  # undo from the line that says so
    told(page, "Undone")
    show(page, "places")
    with page.expect_navigation():
        page.locator("aside .stations a", has_text="Axes and ways").click()
    card(page, "axes.backlash_z").locator("details.change > summary").click()
    value = card(page, "axes.backlash_z").get_by_label("Lost motion in Z")
    value.fill("6 um")
    value.press("Enter")
    told(page, "value 6 um, not 60 um")
    wording = card(page, "axes.way_wipers")
    wording.locator("details.change > summary").click()
    wording.get_by_label("Wording for the report").fill("Both wipers are torn.")
    wording.get_by_role("button", name="Save wording").click()
    told(page, "Both wipers are torn.")
    moved = card(page, "axes.z_travel").locator("details.fix").first
    moved.locator("summary").click()
    moved.locator("select").select_option("axes.x_travel")
    moved.get_by_role("button", name="Move it").click()
    told(page, "moved from Z axis travel to X axis travel")
    words = card(page, "axes.ball_screws").locator("details.fix").first
    words.locator("summary").click()
    words.get_by_label("What was said").fill("The ball screws are noisy.")
    words.get_by_role("button", name="Save words").click()
    told(page, "Words put right")
    show(page, "loose")
    row = page.locator("article.row", has_text="pouring with rain")
    row.locator("details > summary").click()
    row.locator("select").select_option("enclosure.work_light")
    row.get_by_role("button", name="Defect, minor").click()
    told(page, "says of")
    assert page.locator("article.row.reviewed", has_text="pouring with rain").count() == 1
    show(page, "open")
    gap = page.locator("article.card", has_text="never mentioned").first
    settled = (gap.get_attribute("id") or "")[2:]
    gap.locator("details.settle > summary").click()
    gap.get_by_label("Why may it stay open?").fill("No access on the day")
    gap.get_by_role("button", name="Leave it open").click()
    told(page, "may stay open")
    (tmp_path / "picture.png").write_bytes(png(30, 20))
    page.locator("details.add.new > summary").click()
    page.get_by_label("What was found").fill("Fork pocket bent")
    page.locator(".photo-input").set_input_files(tmp_path / "picture.png")
    with page.expect_navigation():
        page.get_by_role("button", name="Add as a minor defect").click()
    show(page, "machine")
    page.get_by_role("textbox", name="Model", exact=True).fill("Sparrow 9")
    with page.expect_navigation():
        page.get_by_role("textbox", name="Model", exact=True).press("Enter")
    assert page.get_by_role("textbox", name="Model", exact=True).input_value() == "Sparrow 9"

    show(page, "report")
    with page.expect_download() as saved:
        page.get_by_role("link", name="One page for a browser").click()
    report = Path(saved.value.path()).read_text(encoding="utf-8")
    assert saved.value.suggested_filename == "report demo.html"
    for words in ("Both wipers are torn.", "Fork pocket bent", "Sparrow 9", "No access on the day"):
        assert words in report
    assert report.count("data:image/jpeg;base64,") == 1

    done = stands(visit, pack)
    record = done.record
    assert done.to_decide == ()
    assert done.findings[first].changed is False
    assert record.check("safety.door_interlock").severity == "major"
    assert record.check("spindle.noise").outcome == "defect"
    assert record.check("axes.backlash_z").outcome == "ok"
    assert record.check("axes.backlash_z").readings[0].value == 6.0
    assert done.findings["axes.way_wipers"].wording == "Both wipers are torn."
    assert record.check("axes.z_travel").outcome == "not_mentioned"
    assert record.check("axes.x_travel").outcome == "defect"
    assert record.check("axes.ball_screws").outcome == "defect"
    assert record.check("enclosure.work_light").conflict
    assert [gap.check for gap in done.settled] == [settled]
    assert [added.title for added in done.added] == ["Fork pocket bent"]
    assert (visit / done.added[0].photos[0]).read_bytes() == png(30, 20)
    assert record.facts["model"].value == "Sparrow 9"


def test_the_whole_review_by_keys(page: Page, visit: Path, pack: Pack) -> None:
    """J, C and E with a number, from the first finding to the last; then all is looked at."""
    to_review = int(page.locator("#far").get_attribute("max") or 0)
    assert to_review > 60
    page.keyboard.press("j")
    changed = page.evaluate("document.activeElement.id.slice(2)")
    page.keyboard.press("e")
    page.wait_for_selector("button.choice")
    page.keyboard.press("4")
    told(page, "set to defect, critical")
    page.keyboard.press("u")
    told(page, "Undone")
    for _ in range(to_review + 5):
        left = page.locator("[data-card]:not([data-done])").count()
        if not left:
            if page.locator("#counts .count", has_text="Every finding has been looked at").count():
                break
            with page.expect_navigation():
                page.keyboard.press("Enter")  # "Show the next ones" has the focus
            page.keyboard.press("j")
            continue
        page.keyboard.press("c")
        until(page, f"document.querySelectorAll('[data-card]:not([data-done])').length < {left}")
    assert page.locator("#counts .count").inner_text() == "Every finding has been looked at"
    assert page.evaluate("document.activeElement.textContent") == "All looked at: make the report"
    page.keyboard.press("Enter")
    page.locator("a.first", has_text="PDF").wait_for()
    done = stands(visit, pack)
    assert len(done.findings) == to_review
    assert all(not review.changed for review in done.findings.values())
    assert done.record.check(changed).outcome == load_record(visit).check(changed).outcome


def test_tab_and_enter_alone_reach_everything(reading: Page) -> None:
    """Without the letters: the way in, the play button, the way to fix, the confirmation and the change."""
    reached = []
    for _ in range(80):
        reading.keyboard.press("Tab")
        reached.append(
            reading.evaluate("(e => (e.getAttribute('class') || '') + e.tagName)(document.activeElement)")
        )
    assert reached[0] == "skipA"
    for wanted in ("play wholeBUTTON", "playBUTTON", "confirmBUTTON"):
        assert wanted in reached
    assert any("SUMMARY" in name for name in reached)
    assert sum("stop is-" in name for name in reached) == 26


# --- what is heard ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "station", "kind"),
    [
        ("2024-03-12 09-52-31.m4a", "spindle", "audio/mp4"),
        ("2024-03-12 11-03-22.mp3", "coolant", "audio/wav"),
        ("2024-03-12 11-20-40.3gp", "electrical", "audio/wav"),  # AMR
    ],
)
def test_a_click_on_a_quote_plays_that_moment(reading: Page, file: str, station: str, kind: str) -> None:
    page = reading
    show(page, f"places&station={station}")
    button = page.locator(f'main button.play[data-file="{file}"]').last
    start, end = (float(button.get_attribute(f"data-{name}") or 0) for name in ("start", "end"))
    kinds: list[str] = []
    page.on(
        "response",
        lambda r: kinds.append(r.headers.get("content-type", "")) if "/audio/" in r.url else None,
    )
    button.click()
    until(
        page,
        "document.getElementById('audio').played.length > 0 && document.querySelector('.speaking')",
    )
    at = page.evaluate("document.getElementById('audio').currentTime")
    assert start - 1.05 <= at <= end + 0.2
    began = page.evaluate("document.getElementById('audio').played.start(0)")
    assert abs(began - max(0.0, start - 1.0)) < 0.1  # a second of lead-in
    spoken = page.evaluate(
        "(() => { const s = document.querySelector('q.words .speaking');"
        " return s && [s.textContent, Number(s.dataset.from), Number(s.dataset.to)]; })()"
    )
    assert spoken is not None and start <= spoken[1] <= spoken[2] <= end
    assert kinds and set(kinds) == {kind}
    page.keyboard.press("Escape")
    until(page, "document.getElementById('audio').paused")
    assert page.locator(".speaking").count() == 0


def test_playing_ends_with_the_quote_and_goes_on_where_that_is_wanted(reading: Page) -> None:
    show(reading, "places&station=safety")
    button = reading.locator("main button.play").first
    reading.evaluate("document.getElementById('audio').playbackRate = 8; "
                  "document.getElementById('audio').defaultPlaybackRate = 8")  # fmt: skip
    end = float(button.get_attribute("data-end") or 0)
    button.click()
    until(reading, "!document.getElementById('audio').paused")
    until(reading, "document.getElementById('audio').paused")
    at = reading.evaluate("document.getElementById('audio').currentTime")
    assert end <= at <= end + 2.5  # eight times as fast, it overshoots a little
    reading.locator("#on").click()
    until(reading, f"document.getElementById('audio').currentTime > {end + 3}")
    reading.locator("#stop").click()


def test_a_press_on_a_strip_plays_from_there(reading: Page) -> None:
    strip = reading.locator("svg.strip").first
    box = strip.bounding_box()
    assert box
    seconds, share = (
        float(strip.get_attribute("data-seconds") or 0),
        float(strip.get_attribute("data-strip") or 0),
    )
    strip.click(position={"x": box["width"] * share / 1000 / 2, "y": box["height"] / 2})
    until(reading, "document.getElementById('audio').played.length > 0")
    assert reading.evaluate("document.getElementById('audio').played.start(0)") == pytest.approx(
        seconds / 2, abs=1
    )


def test_without_kept_words_the_quote_lights_up_as_a_whole(page: Page, visit: Path) -> None:
    for path in (visit / ".voicenotes").glob("*.json"):
        path.unlink()
    page.locator("main button.play").first.click()
    page.locator("q.words.speaking").wait_for()


# --- reload, two tabs, another run ---------------------------------------------------------------------


def test_a_reload_shows_what_was_done_and_undo_is_there(page: Page, visit: Path, pack: Pack) -> None:
    show(page, "severity")
    change(page, "spindle.noise", "Defect, minor")
    told(page, "set to defect, minor")
    page.reload()
    found = card(page, "spindle.noise")
    assert "the record has: Defect, critical" in found.inner_text()
    found.get_by_role("button", name="Undo").click()
    told(page, "Undone")
    assert stands(visit, pack) == Reviewed(record=load_record(visit))
    show(page, "changes")
    with page.expect_navigation():
        page.get_by_role("button", name="Redo").click()
    assert stands(visit, pack).record.check("spindle.noise").severity == "minor"


def test_two_tabs_never_overwrite_each_other(page: Page, visit: Path, pack: Pack) -> None:
    show(page, "severity")
    other = page.context.new_page()
    other.goto(page.url)
    change(page, "spindle.noise", "Defect, minor")
    told(page, "set to defect, minor")
    card(other, "spindle.noise").locator("button.confirm").click()
    told(other, "changed in another window")
    assert card(other, "spindle.noise").locator(".outcome strong").inner_text() == "Defect, minor"
    assert len(read_corrections(visit)) == 1
    card(other, "turret.clamping").locator("button.confirm").click()  # what nobody else touched goes through
    told(other, "Turret clamping: confirmed")
    page.bring_to_front()
    page.evaluate("window.dispatchEvent(new Event('focus'))")
    page.locator("#elsewhere").wait_for(state="visible")
    done = stands(visit, pack)
    assert done.record.check("spindle.noise").severity == "minor"
    assert set(done.findings) == {"spindle.noise", "turret.clamping"}


def test_a_correction_asks_for_a_decision_after_the_visit_reads_otherwise(
    page: Page, visit: Path, pack: Pack
) -> None:
    show(page, "severity")
    card(page, "spindle.noise").locator("button.confirm").click()
    told(page, "confirmed")

    def otherwise(record: Record) -> Record:
        checks = tuple(
            c.model_copy(update={"severity": "minor"}) if c.id == "spindle.noise" else c
            for c in record.checks
        )
        return record.model_copy(update={"checks": checks})

    record_with(visit, otherwise)
    page.reload()
    page.get_by_role("link", name="1 correction needs a decision").click()
    with page.expect_navigation():
        page.get_by_role("button", name="It still holds").click()
    done = stands(visit, pack)
    assert done.to_decide == () and set(done.findings) == {"spindle.noise"}
    assert page.locator(".decide").count() == 0


# --- hostile and large ------------------------------------------------------------------------------


def test_a_dictated_script_is_text_in_the_browser(browser: Browser, visit: Path, pack: Pack) -> None:
    def hostile(record: Record) -> Record:
        text = record.model_dump_json().replace("pouring with rain", SCRIPT.replace('"', '\\"'))
        return Record.model_validate_json(text)

    record_with(visit, hostile)
    with served(visit, pack) as keys:
        for page in opened(browser, keys):
            show(page, "loose")
            assert page.title() != "taken"
            row = page.locator("article.row", has_text="<script>")
            row.locator("details > summary").click()
            row.get_by_label("What was said").fill(f"the work light is dim {SCRIPT}")
            row.get_by_role("button", name="Save words").click()
            told(page, "Words put right")
            show(page, "changes")
            assert "onerror=" in page.locator(".changes").inner_text()
            assert page.title() != "taken"


def test_two_thousand_remarks(browser: Browser, tmp_path: Path, pack: Pack) -> None:
    visit = large_visit(tmp_path / "large", pack, 2_000)
    with served(visit, pack) as keys:
        for page in opened(browser, keys):
            assert page.locator("article.card").count() == 20
            first = page.locator("article.card").first
            first.locator("details.panel", has_text="more remarks").locator("summary").first.click()
            until(page, "document.querySelectorAll('article.card:first-of-type q.words').length > 8")
            page.keyboard.press("j")
            page.keyboard.press("c")
            told(page, "confirmed")
            page.get_by_role("link", name="Next").click()
            page.locator(".pages", has_text="Page 2 of").wait_for()
            assert page.locator("article.card").count() == 20


# --- for everybody ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width", "views"), [(1280, ("look", "open", "loose", "machine", "changes", "report")), (390, ("look",))]
)
def test_axe_finds_nothing(browser: Browser, keys: Keys, width: int, views: tuple[str, ...]) -> None:
    for page in opened(browser, keys, width):
        page.locator("button.confirm").first.click()
        told(page, "confirmed")
        for view in views:
            show(page, view)
            open_panels(page, "change", "fix", "settle", "add")
            assert violations(page) == [], view


def open_panels(page: Page, *kinds: str) -> None:
    """Open the first panel of each kind that there is."""
    for kind in kinds:
        summary = page.locator(f"main details.{kind} > summary").first
        if summary.count():
            summary.click()
    until(page, PANELS_ARE_THERE)


def test_nothing_is_cut_off_on_a_narrow_screen_or_enlarged(reading: Page) -> None:
    """320 CSS pixels are 1280 at 400 % (WCAG 2.2, 1.4.10), 640 are 1280 at 200 %."""
    for view in VIEWS:
        reading.set_viewport_size({"width": 390, "height": 640})
        show(reading, view)
        open_panels(reading, "change", "fix", "add")
        for width in (390, 320, 640):
            reading.set_viewport_size({"width": width, "height": 640})
            assert reading.evaluate("document.documentElement.scrollWidth") <= width, (view, width)


def test_states_are_told_without_colour(reading: Page) -> None:
    """Each sign has a shape and a letter of its own, and its words beside it."""
    show(reading, "severity")
    reading.evaluate("document.documentElement.style.filter = 'grayscale(1)'")
    signs = reading.evaluate(
        "[...document.querySelectorAll('article.card')].map(c => [c.querySelector('.sign').textContent.trim()"
        " + c.querySelector('.sign').firstElementChild.tagName,"
        " c.querySelector('.outcome strong').textContent])"
    )
    by_words: dict[str, set[str]] = {}
    for sign, words in signs:
        by_words.setdefault(words, set()).add(sign)
    assert all(len(found) == 1 for found in by_words.values())
    assert len({next(iter(found)) for found in by_words.values()}) == len(by_words) >= 4
