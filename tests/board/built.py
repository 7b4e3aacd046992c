"""The firmware as it is flashed: folded, compiled, for the boards' 31-bit integers."""

import atexit
import functools
import shutil
import tempfile
from pathlib import Path

from springhouse_host.flashing import build, folding
from springhouse_sim import board_files


@functools.cache
def image(board: str = "pico_w") -> build.Image:
    return build.build(board)


@functools.cache
def folder(board: str = "pico_w") -> Path:
    """Root files and package as they lie on the flash; never written to."""
    made = Path(tempfile.mkdtemp(prefix="built-"))
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    image(board).write(made, ".")
    return made


@functools.cache
def package() -> folding.Package:
    return folding.Package(folding.read_sources(board_files.sources()))


@functools.cache
def texts() -> dict[str, str]:
    """Each module's text as a board gets it."""
    sources = board_files.sources()
    return build.texts(folding.read_sources(sources), root_texts())


def root_texts() -> list[str]:
    return [board_files.sources()[name].read_text() for name in board_files.ROOT_FILES]


def program(source: Path) -> str:
    """A test program that names slots and bits, in terms of the folded package."""
    return package().fold(source.read_text(), source.name)


def lay_walk(where: Path) -> None:
    """Put the built package into a folder, and `core_walk` beside it."""
    shutil.copytree(folder() / "springhouse", where / "springhouse")
    (where / "core_walk.py").write_text(program(Path(__file__).with_name("core_walk.py")))


@functools.cache
def edited(file: str, *changes: str) -> bytes:
    """Bytecode of a file of the package with places changed: old, new, old, new, ..."""
    sources = folding.read_sources(board_files.sources())
    module = "springhouse." + file.removesuffix(".py").replace("/", ".")
    for old, new in zip(changes[::2], changes[1::2], strict=True):
        assert sources[module].count(old) == 1, f"{file}: {old!r} is no longer there"
        sources[module] = sources[module].replace(old, new)
    with tempfile.TemporaryDirectory() as scratch:
        return build.compile_text(build.texts(sources, root_texts())[module], file, Path(scratch))
