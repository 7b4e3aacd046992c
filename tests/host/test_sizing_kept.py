"""A sizing sheet that is kept is the one that would be worked out, or it is not taken."""

from pathlib import Path

import pytest
from site_text import BASE, edited, site_of
from springhouse_host.sheet import kept, sizing
from springhouse_sim import kept_file


@pytest.fixture(autouse=True)
def cache(tmp_path, monkeypatch) -> Path:
    """Sheets alone are kept elsewhere, so that nothing is compiled for it."""
    monkeypatch.setattr(kept, "cache_root", lambda: tmp_path / "cache")
    return tmp_path / "cache" / kept.FOLDER


def test_a_kept_sheet_is_the_one_worked_out_and_nothing_is_worked_out_again(
    tmp_path, monkeypatch
) -> None:
    site = site_of(tmp_path, BASE)
    made = kept.size(site)
    assert made.sheets.keys() == {"low", "mid", "high"}
    monkeypatch.setattr(sizing, "size", lambda *_: pytest.fail("worked out again"))
    again = kept.size(site_of(tmp_path, BASE))
    assert again == made
    assert again.as_json() == made.as_json()


def test_a_damaged_or_foreign_sheet_is_worked_out_again(tmp_path, cache, monkeypatch) -> None:
    site = site_of(tmp_path, BASE)
    path = cache / kept.name(site)
    monkeypatch.setattr(sizing, "size", lambda *_: "made anew")
    kept_file.write(path, "another name", b"no pickle")
    assert kept.size(site) == "made anew"
    path.write_bytes(path.read_bytes()[:-1])
    assert kept.size(site) == "made anew"


def test_whatever_has_a_say_gives_a_sheet_another_name(tmp_path, monkeypatch) -> None:
    prices = (("tariff.price_per_kwh", ""), ("tariff.cheap_price_per_kwh", ""),
              ("tariff.cheap_hours", ""), ("tariff.prices_csv", '"p.csv"'))  # fmt: skip

    def priced(price: float) -> None:
        rows = [f"2025-07-07T{hour:02d}:00,{price}\n" for hour in range(24)]
        (tmp_path / "p.csv").write_text("time,price_per_kwh\n" + "".join(rows), "utf-8")

    def name(*changes: tuple[str, str]) -> str:
        return kept.name(site_of(tmp_path, edited(*changes)))

    priced(0.3)
    names = [name(), name(("store.water_litres", "140")), name(("site.name", '"other"')),
             name(("schedule.wanted", '["13:00-17:00"]')), name(*prices)]  # fmt: skip
    priced(0.2)
    names.append(name(*prices))
    monkeypatch.setattr(kept, "version", lambda library: f"{library} 0")
    names.append(name())
    monkeypatch.setattr(kept, "add_sources", lambda digest, _: digest.update(b"other sources"))
    names.append(name())
    assert len(set(names)) == len(names)
