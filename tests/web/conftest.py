"""What the tests of the web application share: books, servers, a real browser, a folder for pictures."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Error, Page, Playwright, sync_playwright

from truekev.book.book import Book
from truekev.job.demo_book import fill_demo_book
from truekev.tables.loader import table_bytes
from truekev.web.server import Server

# Kept after the run, to be looked at.
PICTURES = Path(__file__).parents[2] / "build" / "web-pictures"
NO_BROWSER = (
    "these tests need a Chromium: install the system's (apt-get install chromium), or run "
    "`.venv/bin/playwright install chromium-headless-shell`"
)


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented lab's book, filled once; copy it before writing."""
    path = tmp_path_factory.mktemp("filled") / "lab.book"
    fill_demo_book(path).close()
    return path


@pytest.fixture
def demo_copy(demo_file: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(demo_file, tmp_path / "lab.book"))


@pytest.fixture
def empty_book(tmp_path: Path) -> Path:
    Book.create(tmp_path / "mine.book", "My bench").close()
    return tmp_path / "mine.book"


@pytest.fixture
def serve() -> Iterator[Callable[[Path], str]]:
    """Serves books on ports of their own; gives the address without the slash at its end."""
    with ExitStack() as stack:

        def start(book: Path) -> str:
            server = stack.enter_context(Server(book, port=0))
            thread = threading.Thread(target=server.run, daemon=True)
            thread.start()
            stack.callback(thread.join, 10)
            stack.callback(server.stop)
            return server.addresses[0].rstrip("/")

        yield start


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium, else playwright's own."""
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    with sync_playwright() as playwright:
        made = _launched(playwright, found)
        if made is None:
            pytest.fail(NO_BROWSER, pytrace=False)
        yield made
        made.close()


def _launched(playwright: Playwright, found: str | None) -> Browser | None:
    try:
        return playwright.chromium.launch(executable_path=found, args=["--no-sandbox"] if os.geteuid() == 0 else [])
    except Error:
        return None


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Opens pages in contexts of their own; an error in the page's script, or anything from outside, fails the test."""
    troubles: list[str] = []
    with ExitStack() as stack:

        def opened(address: str, *, width: int = 1280, height: int = 900) -> Page:
            context = browser.new_context(viewport={"width": width, "height": height}, accept_downloads=True)
            stack.callback(context.close)
            page = context.new_page()
            page.set_default_timeout(20_000)
            page.on("pageerror", lambda error: troubles.append(f"{page.url}: {error}"))
            page.on("console", lambda said: troubles.append(said.text) if _is_trouble(said) else None)
            page.on(
                "request",
                lambda asked: None if asked.url.startswith((address, "data:")) else troubles.append(asked.url),
            )
            page.goto(address + "/")
            return page

        yield opened
    assert troubles == []


@pytest.fixture
def picture() -> Callable[[Page, str], None]:
    """Keeps a picture of the whole page in build/web-pictures."""
    PICTURES.mkdir(parents=True, exist_ok=True)

    def taken(page: Page, name: str) -> None:
        page.screenshot(path=PICTURES / f"{name}.png", full_page=True)

    return taken


@pytest.fixture(scope="session")
def counts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The demonstration's spectra as files: rods, room, later."""
    folder = tmp_path_factory.mktemp("counts")
    tables = {"rods": "demo_rods.csv", "room": "demo_background.csv", "later": "demo_rods_later.csv"}
    return {name: _written(folder / f"{name}.csv", table_bytes(table)) for name, table in tables.items()}


def _is_trouble(said: ConsoleMessage) -> bool:
    """An error that the browser notes; a form that was sent back with its mistakes named (400) is none."""
    return said.type == "error" and "status of 400" not in said.text


def _written(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path
