"""The tutorial's pictures, made by the commands it shows: `python handbook/pictures.py docs`.

Debian's chromium and requirements-browser.txt are needed, and minutes for two proofs; `--only NAME`
makes one. Each is a WebP of at most MOST_BYTES, dark on light.
"""

from __future__ import annotations

import argparse
import html
import io
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from PIL import Image

MOST_BYTES = 80_000
WIDE_PX = 1100
PREFIX = "tutorial-"
WINDOW = {"viewport": {"width": 1100, "height": 760}, "color_scheme": "light"}
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
PROGRAM = "import sys; from springhouse_host.__main__ import main; main()"
ATTIC = (
    *("--with", "freezer.cabinet_litres=249", "--with", "freezer.label_input_w=160"),
    *("--with", "freezer.label_kwh_year=260", "--with", "store.water_litres=190"),
    *("--with", "room.length_m=4.5", "--with", "promises.room_share_percent=97"),
)
TERMINAL = """<body style="margin:0;background:#fff"><pre style="margin:0;padding:16px 20px;
font:15px/1.4 monospace;color:#1b2733;background:#f6f8fa;border:1px solid #d0d7de;width:1060px;
box-sizing:border-box">{text}</pre></body>"""
READY = "() => document.body.dataset.asked === document.body.dataset.shown"


class Studio:
    """A folder that the tutorial is walked in, and a browser that looks at what comes of it."""

    def __init__(self, browser: Any, folder: Path) -> None:
        self.browser = browser
        self.folder = folder

    def springhouse(self, *words: str) -> str:
        """Run a command and return what it prints."""
        done = subprocess.run(
            [sys.executable, "-c", PROGRAM, *words],
            cwd=self.folder,
            env=os.environ | {"COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb"},
            capture_output=True,
            stdin=subprocess.DEVNULL,
            text=True,
        )
        if done.returncode not in (0, 1):
            sys.exit(done.stderr)
        return done.stdout

    def terminal(self, said: str, command: str, lines: int) -> bytes:
        """Return a picture of a command's first lines."""
        text = "\n".join([f"$ {command}", *said.splitlines()[:lines]])
        page = self.browser.new_page(**WINDOW)
        page.set_content(TERMINAL.format(text=html.escape(text)))
        picture: bytes = page.locator("pre").screenshot()
        page.close()
        return picture

    @contextmanager
    def page(self, address: str) -> Iterator[Any]:
        """Yield a page that is open at an address."""
        page = self.browser.new_page(**WINDOW)
        page.set_default_timeout(600_000)
        page.goto(address)
        yield page
        page.close()


def new(studio: Studio) -> bytes:
    """What `new` writes and says."""
    shutil.rmtree(studio.folder / "attic", ignore_errors=True)
    said = studio.springhouse("new", "attic", *ATTIC)
    return studio.terminal(said, "springhouse new attic --with ...", 24)


def size(studio: Studio) -> bytes:
    """The sizing sheet."""
    said = studio.springhouse("size", "attic/site.toml")
    return studio.terminal(said, "springhouse size attic/site.toml", 26)


def day(studio: Studio) -> bytes:
    """The hottest day as `run` draws it."""
    studio.springhouse("run", "attic/site.toml", "--days", "1", "--plot", "day.png")
    return (studio.folder / "day.png").read_bytes()


def desk(studio: Studio) -> bytes:
    """The desk, a fan more than the site has."""
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, "desk", "attic/site.toml"],
        stdout=subprocess.PIPE,
        text=True,
        cwd=studio.folder,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    try:
        assert process.stdout is not None
        address = process.stdout.readline().removeprefix("desk: ").strip()
        with studio.page(address) as page:
            page.wait_for_selector("body[data-shown]")
            page.get_by_role("slider", name="fans", exact=True).press("ArrowRight")
            page.wait_for_function(READY)
            page.evaluate("scrollTo(0, 0)")
            picture: bytes = page.screenshot()
    finally:
        process.terminate()
        process.wait()
    return picture


def depends(studio: Studio) -> bytes:
    """The first verdict: it depends."""
    said = studio.springhouse("prove", "attic/site.toml")
    return studio.terminal(said, "springhouse prove attic/site.toml", 12)


def kept(studio: Studio) -> bytes:
    """The report of the second verdict."""
    path = studio.folder / "attic/site.toml"
    text = path.read_text("utf-8").replace("room_share_percent = 97", "room_share_percent = 60")
    path.write_text(text, "utf-8")
    studio.springhouse("prove", "attic/site.toml", "--report", "proof.html")
    with studio.page((studio.folder / "proof.html").as_uri()) as page:
        page.wait_for_selector("body[data-ready]")
        picture: bytes = page.screenshot()
    return picture


def wiring(studio: Studio) -> bytes:
    """The schematic that `wiring` draws."""
    studio.springhouse("wiring", "attic/site.toml", "--draw", ".")
    (drawn,) = studio.folder.glob("schematic*.svg")
    page = studio.browser.new_page(**WINDOW)
    page.set_content(f'<body style="margin:0;background:#fff">{drawn.read_text("utf-8")}</body>')
    picture: bytes = page.locator("svg").first.screenshot()
    page.close()
    return picture


# In the order of the tutorial: each may stand on what those before it left in the folder.
PICTURES: tuple[Callable[[Studio], bytes], ...] = (new, size, day, desk, depends, kept, wiring)


def webp(picture: bytes) -> bytes:
    """Return a picture as WebP, as good as its size allows.

    Raises:
        ValueError: where even the poorest is too large.
    """
    image = Image.open(io.BytesIO(picture)).convert("RGB")
    if image.width > WIDE_PX:
        image = image.resize((WIDE_PX, round(image.height * WIDE_PX / image.width)))
    made = io.BytesIO()
    image.save(made, "WEBP", lossless=True, method=6)
    if made.tell() <= MOST_BYTES:  # text, that is
        return made.getvalue()
    for quality in (90, 80, 70, 60, 45):
        made = io.BytesIO()
        image.save(made, "WEBP", quality=quality, method=6)
        if made.tell() <= MOST_BYTES:
            return made.getvalue()
    raise ValueError(f"more than {MOST_BYTES} bytes")


def main() -> None:
    """Make the pictures."""
    # of requirements-browser.txt, which `make check` can do without
    from playwright.sync_api import sync_playwright  # type: ignore[import-not-found, unused-ignore]

    asked = argparse.ArgumentParser()
    asked.add_argument("folder", type=Path)
    asked.add_argument("--only", choices=[make.__name__ for make in PICTURES])
    args = asked.parse_args()
    with sync_playwright() as play, tempfile.TemporaryDirectory() as folder:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        studio = Studio(browser, Path(folder))
        for make in PICTURES:
            if args.only in (None, make.__name__) or make is new:
                picture = webp(make(studio))
            if args.only in (None, make.__name__):
                (args.folder / f"{PREFIX}{make.__name__}.webp").write_bytes(picture)
        browser.close()


if __name__ == "__main__":
    main()
