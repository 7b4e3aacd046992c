"""A page an installation: its story, its answer in words, its water side, its site file."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from springhouse_host import sites as built_in
from springhouse_host.sheet.answer import answer
from springhouse_host.sheet.sizing import size
from springhouse_host.site import load_site
from springhouse_host.site.site import BUILT_IN
from springhouse_host.wiring import plumbing

SITES = Path(built_in.__path__[0])


def write(stories: Path, folder: Path) -> None:
    """Write a page for each built-in site into a folder, beginning with its story.

    ``stories`` holds those that were written, by the site's word.
    """
    with ProcessPoolExecutor(2) as pool:
        for word, (sentence, sketch) in zip(BUILT_IN, pool.map(_worked_out, BUILT_IN), strict=True):
            (folder / f"{word}.svg").write_bytes(sketch)
            page = _page(word, _story(stories / f"{word}.md"), sentence)
            (folder / f"{word}.md").write_text(page, "utf-8")


def _worked_out(word: str) -> tuple[str, bytes]:
    site = load_site(word)
    return answer(size(site), us=False), plumbing.sketch(site)


def _story(told: Path) -> str:
    """Return what was found with an installation, or else how its file begins."""
    if told.exists():
        return told.read_text("utf-8")
    begin = (SITES / f"{told.stem}.toml").read_text("utf-8").partition("\n\n")[0]
    lines = [line.removeprefix("#").strip() for line in begin.splitlines()]
    return "\n".join([f"# {told.stem}\n", *lines])


def _page(word: str, story: str, sentence: str) -> str:
    file = (SITES / f"{word}.toml").read_text("utf-8")
    return f"""{story.rstrip()}

## Can it work

{sentence}

These are the first sentences of `springhouse size {word}`, made with this page.

## Its water side

![Heights of store, pump, siphon break and coil]({word}.svg)

## Its site file

```toml title="{word}.toml"
{file.rstrip()}
```
"""
