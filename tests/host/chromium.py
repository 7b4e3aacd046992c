"""Debian's chromium, and a page in it with what it said and what it asked for."""

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
DESK = {"viewport": {"width": 1280, "height": 900}}
SERIOUS = {"serious", "critical"}  # findings of axe that fail a test


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    program = shutil.which("chromium")
    assert program, "chromium is not installed; as root make test-browser does it"
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=program, args=FLAGS)
        yield started
        started.close()


class Window:
    """An empty page; what it says and asks for is kept."""

    def __init__(self, browser: Any, **window: Any) -> None:
        self.said: list[str] = []
        self.asked: list[str] = []
        self.context = browser.new_context(**window)
        self.page = self.context.new_page()
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))

    def _hear(self, message: Any) -> None:
        if message.type in ("warning", "error"):
            self.said.append(message.text)
