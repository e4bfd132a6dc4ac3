"""The report's page in a real browser: for everybody, narrow, enlarged, printed, by keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from every_correction import PHOTOS, every_correction
from reviewing import chromium, violations
from test_costs import DEMO
from test_report_items import pack, record_of
from test_review_door import png

import voicenotes.report.write
from voicenotes.corrections.journal import append

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo visit's report with every kind of correction, photos and money."""
    visit = tmp_path_factory.mktemp("visit")
    for correction in every_correction(record_of("demo")).corrections:
        append(visit, correction)
    for name in PHOTOS:
        (visit / name).write_bytes(png(600, 400))
    made, pictures = voicenotes.report.write.visit_report(visit, record_of("demo"), pack(), DEMO)
    path = visit / "report.html"
    path.write_text(str(voicenotes.report.write.rendered(made, "html", pictures)), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as browser:
        yield browser


@pytest.fixture
def page(browser: Browser, file: Path) -> Iterator[Page]:
    """The page; nothing else may be asked for, and nothing may complain."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, bypass_csp=True)
    page = context.new_page()
    asked: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(file.as_uri())
    yield page
    context.close()
    assert [url for url in asked if not url.startswith(("data:", file.as_uri()))] == []
    assert complaints == []


@pytest.mark.parametrize("width", [1280, 390])
def test_axe_finds_nothing(page: Page, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    assert violations(page) == []


def test_nothing_is_cut_off_narrow_enlarged_or_printed(page: Page) -> None:
    """320 CSS pixels are 1280 at 400 % (WCAG 2.2, 1.4.10), 640 are 1280 at 200 %; 673 are 178 mm of A4."""
    for width in (1280, 640, 390, 320):
        page.set_viewport_size({"width": width, "height": 640})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
    page.set_viewport_size({"width": 673, "height": 900})
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= 673
    assert not page.locator("nav").is_visible()
    assert page.locator("svg.walk-4").is_visible() and not page.locator("svg.walk-1").is_visible()


def test_tab_and_enter_reach_every_part(page: Page) -> None:
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    parts = page.locator("main > section").count()
    reached = []
    for _ in range(parts):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.getAttribute('href')"))
    assert reached == [f"#{name}" for name in page.evaluate(
        "[...document.querySelectorAll('main > section')].map(section => section.id)"
    )]  # fmt: skip
    page.keyboard.press("Enter")
    assert page.evaluate("location.hash") == reached[-1]
    assert page.evaluate("scrollY") > 500


def test_states_are_told_without_colour(page: Page) -> None:
    """What a sign means is told by shape and letter, and in words beside it (WCAG 2.2, 1.4.1)."""
    signs = page.evaluate(
        "[...document.querySelectorAll('.legend li')].map(entry => [entry.querySelector('.sign').tagName"
        " + entry.querySelector('.letter').textContent, entry.textContent.replace(/: [0-9]+$/, '')])"
    )
    assert len(signs) >= 8
    assert len({sign for sign, _ in signs}) == len(signs)
