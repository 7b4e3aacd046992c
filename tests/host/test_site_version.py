"""New versions of a site file: comments stay, the old file is never touched, nothing half-made."""

from pathlib import Path

import pytest
from site_text import BASE, edited, site_of
from springhouse_host import load_site
from springhouse_host.errors import KnownError, SiteError
from springhouse_host.site.version import NewValue, next_version, with_values, write_version

UA = {"freezer.cabinet_ua_w_k": NewValue(0.81234, 0.7, 0.9, "measured")}
BAD = {"freezer.cabinet_ua_w_k": NewValue(81.0, 70.0, 90.0, "measured")}


def test_names_count_up() -> None:
    assert next_version(load_site("demo")).name == "demo-2.toml"


def test_a_value_is_added_then_replaced_and_comments_stay(tmp_path: Path) -> None:
    site = site_of(tmp_path, "# mine\n" + BASE)
    second = write_version(site, next_version(site), UA, "a night unplugged")
    third = write_version(second, next_version(second), UA, "another night")
    assert [Path(s.path).name for s in (second, third)] == ["site-2.toml", "site-3.toml"]
    known = third.known["freezer.cabinet_ua_w_k"]
    assert (known.low, known.mid, known.high, known.grade) == (0.7, 0.8123, 0.9, "measured")
    text = Path(third.path).read_text("utf-8")
    assert text.startswith("# mine\n")
    assert text.count("\ncabinet_ua_w_k") == 1
    assert "# before: cabinet_ua_w_k" in text
    assert (tmp_path / "site.toml").read_text("utf-8") == "# mine\n" + BASE
    assert third.site_sha256 == second.site_sha256  # a comment is no change


def test_water_keeps_its_bare_number() -> None:
    text = with_values(BASE, {"store.water_litres": NewValue(88.0, 86.0, 90.0, "fitted")}, "log")
    assert "\nwater_litres = 88 # log\n" in text


def test_what_the_rules_refuse_leaves_no_file(tmp_path: Path) -> None:
    site = site_of(tmp_path, edited())
    with pytest.raises(SiteError, match="cabinet_ua_w_k"):
        write_version(site, tmp_path / "new.toml", BAD, "a slip")
    assert [p.name for p in tmp_path.iterdir()] == ["site.toml"]


def test_no_file_is_replaced_and_no_change_in_memory_is_lost(tmp_path: Path) -> None:
    site = site_of(tmp_path, edited())
    with pytest.raises(KnownError, match="never replaces a file"):
        write_version(site, tmp_path / "site.toml", UA, "")
    changed = load_site(tmp_path / "site.toml", {"store.water_litres": 145.0})
    with pytest.raises(KnownError, match="changed in memory"):
        write_version(changed, tmp_path / "new.toml", UA, "")


def test_a_table_without_a_line_of_its_own_is_refused_in_one_line() -> None:
    """TOML allows `freezer = { ... }` and `freezer.key = ...` too."""
    with pytest.raises(KnownError, match=r"freezer.cabinet_ua_w_k: .* no line \[freezer\]"):
        with_values(BASE.replace("[freezer]", "freezer.inline = 1"), UA, "a night")
