"""A proof is of the text that ran: what was touched before, between or meanwhile is told."""

import os
import shutil
import time
from pathlib import Path

import pytest
import springhouse_sim
from springhouse_host.errors import KnownError
from springhouse_host.proof import sources
from springhouse_host.site import load_site
from springhouse_host.site.site import Site
from springhouse_sim.compiled import Code
from springhouse_sim.loaded_text import Text

HERE = Path(__file__).parent


@pytest.fixture
def source(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """One source of the simulator, in a place of our own, older than this program."""
    path = tmp_path / "sim" / "part.py"
    path.parent.mkdir()
    path.write_text("X = 1\n")
    os.utime(path, (0, 0))
    monkeypatch.setattr(sources, "simulator_roots", lambda: (path.parent,))
    monkeypatch.setattr(springhouse_sim, "BEGAN_NS", time.time_ns() + 10**9)
    return path


@pytest.fixture
def site(tmp_path: Path) -> Site:
    path = tmp_path / "site.toml"
    shutil.copy(HERE / "base.toml", path)
    os.utime(path, (0, 0))
    return load_site(path)


def test_what_nobody_touched_passes(source: Path, site: Site) -> None:
    ran = sources.read(site)
    sources.check_untouched(ran, site)
    assert ran.hashes().keys() == set(sources.CHANGED)
    assert ran.firmware_sha256 == site.firmware_sha256
    assert source in ran.files
    assert Path(site.path) in ran.files


def test_a_source_younger_than_this_program_is_refused(
    source: Path, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is in memory may be the text before it."""
    monkeypatch.setattr(springhouse_sim, "BEGAN_NS", source.stat().st_ctime_ns - 1)
    with pytest.raises(KnownError, match=r"part\.py: was touched after this program began"):
        sources.read(site)


def test_code_compiled_of_another_text_is_refused(source: Path, site: Site) -> None:
    ran = sources.read(site)
    held = Text(source, ran.files[source].sha256)
    sources.check_compiled(ran, Code(True, {}, None, {"sim.part": held}))
    for text in (Text(source, "0" * 64), Text(source.with_name("other.py"), held.sha256)):
        with pytest.raises(KnownError, match="was edited after it was compiled here"):
            sources.check_compiled(ran, Code(True, {}, None, {"sim.part": text}))


@pytest.mark.parametrize("which", ["source", "site"])
def test_what_was_touched_meanwhile_is_told(which: str, source: Path, site: Site) -> None:
    """Also where the old text was put back."""
    ran = sources.read(site)
    path = {"source": source, "site": Path(site.path)}[which]
    path.write_bytes(path.read_bytes())
    with pytest.raises(KnownError, match=rf"{path}: was touched while the proof ran"):
        sources.check_untouched(ran, site)


def test_the_core_that_is_compiled_here_is_the_one_on_disk(site: Site) -> None:
    from springhouse_sim import compiled

    sources.check_compiled(sources.read(site), compiled.load())
