"""Hand tests against sums worked by hand, and against the plant that is to be recovered."""

import math
from pathlib import Path

import numpy as np
import pytest
from springhouse_host import cli, load_site, measuring
from springhouse_host.errors import KnownError
from springhouse_host.site.derive import AIR_WH_M3_K
from springhouse_sim.plant import param
from springhouse_sim.plant.pull_down import Chill

SITE = load_site("demo")


def test_standing_ua_against_a_sum_by_hand() -> None:
    """150 L from 5 to 8 °C in 20 h beside 25 °C, with cp 4200 J/(kg K) and 1 kg/L.

    m c = 630 000 J/K; over 72 000 s: 8.75 W/K; ln(20/17) = 0.16252; UA = 1.4220 W/K. The handbook
    values at 6.5 °C (IAPWS-95, W table: 4201.5 J/(kg K), 999.93 kg/m3) move it by 0.03 %.
    """
    ua_w_k = measuring.standing_ua_w_k(150.0, 5.0, 8.0, 20.0, 25.0)
    assert ua_w_k == pytest.approx(8.75 * math.log(20.0 / 17.0), rel=1e-3)


def test_errors_add_as_squares() -> None:
    """Guide to the Expression of Uncertainty in Measurement, 5.1.2: for a product, relative ones.

    3 % and 4 % make 5 %.
    """
    value, error = measuring.propagate(
        lambda r: r["a"] * r["b"], {"a": (2.0, 0.06), "b": (10.0, 0.4)}
    )
    assert value == 20.0
    assert error == pytest.approx(1.0, rel=1e-3)
    assert measuring.propagate(lambda r: r["a"], {"a": (3.0, 0.0)}) == (3.0, 0.0)


def test_standing_error_against_a_sum_by_hand() -> None:
    """Derivatives of m c / t ln((Ta - T0)/(Ta - T1)) for the case above, each times its error.

    d/dT0 = -K/20, d/dT1 = K/17, d/dTa = K (1/20 - 1/17) with K = 8.75 W/K.
    """
    found = measuring.stand(SITE, 150.0, 5.0, 8.0, 20.0, 25.0)[0]
    ua = 1.422
    parts = (
        8.75 / 20.0 * measuring.THERMOMETER_K,
        8.75 / 17.0 * measuring.THERMOMETER_K,
        8.75 * (1.0 / 17.0 - 1.0 / 20.0) * measuring.PLACE_K,
        ua * measuring.WATER_SHARE,
        ua * measuring.CLOCK_H / 20.0,
    )
    assert found.error / found.value == pytest.approx(math.hypot(*parts) / ua, rel=0.01)


def test_the_site_with_the_measured_cabinet_warms_as_measured() -> None:
    found = measuring.stand(SITE, 150.0, 5.0, 8.0, 20.0, 25.0)[0]
    p = np.zeros(param.SIZE)
    made = load_site("demo", {found.key: {"value": found.value, "grade": "measured"}})
    made.plant().store.put_gain(p)
    assert p[list(measuring.GAIN_SLOTS)].sum() == pytest.approx(1.422, rel=2e-3)


def test_a_pull_down_gives_the_capacity_that_made_it() -> None:
    label = {"freezer.freezing_capacity_kg_24h": None}  # which would have its say beside a chill
    measured = {"freezer.capacity_w": {"value": 190.0, "grade": "measured"}}
    true = load_site("demo", label | measured)
    plant = true.plant()
    machine = Chill.of(plant.store, plant.freezer)
    hours = machine.hours(1.0, 16.0, 6.0, 24.0)
    kwh = 1.1 * machine.input_w(1.0, 11.0, 24.0) * hours / 1000.0
    again = load_site(
        "demo", label | {"freezer.condenser_ua_w_k": true.known["freezer.condenser_ua_w_k"].mid}
    )
    capacity, factor = measuring.chill(again, 150.0, 16.0, 6.0, hours, 24.0, kwh)
    assert capacity.value == pytest.approx(190.0, rel=2e-3)
    assert 0.02 < capacity.error / capacity.value < 0.15
    assert factor.value == pytest.approx(1.1, rel=0.01)
    with pytest.raises(KnownError, match=r"--hours: 0.6: .* a machine of this label can need"):
        measuring.chill(again, 150.0, 16.0, 6.0, 0.6, 24.0, None)


def test_a_bucket_sets_the_loop_flow() -> None:
    found = {r.key: r for r in measuring.flow(SITE, 5.0, 100.0, 8.0)}  # 3.00 L/min
    changes = {key: {"value": r.value, "grade": "measured"} for key, r in found.items()}
    assert load_site("demo", changes).plant().loop.operating_l_min(8.0, 1.0) == pytest.approx(3.0)


def test_room_against_a_sum_by_hand() -> None:
    """500 W hold 24 °C against 4 °C: 25 W/K, less 0.34 Wh/(m3 K) of 32 m3 changed 0.3 times."""
    found = measuring.room(SITE, 500.0, 24.0, 4.0)[0]
    assert abs(AIR_WH_M3_K - 1.2 * 1006.0 / 3600.0) < 0.01  # density times heat capacity
    assert found.value == pytest.approx(25.0 - 0.34 * 32.0 * 0.3, abs=0.01)
    assert found.error > 25.0 * measuring.OUTDOOR_K / 20.0


def test_the_command_writes_a_version_and_raises_the_grade(tmp_path: Path, capsys) -> None:
    assert cli.run(["new", str(tmp_path)]) == 0
    site = tmp_path / "site.toml"
    before = site.read_bytes()
    flags = ["--litres", "39.6 US gal", "--from", "41 °F", "--to", "8", "--hours", "20"]
    assert cli.run(["measure", str(site), "stand", *flags, "--place", "25"]) == 0
    assert "0.9" not in capsys.readouterr().err
    assert site.read_bytes() == before
    made = load_site(tmp_path / "site-2.toml")
    known = made.known["freezer.cabinet_ua_w_k"]
    assert known.grade == "measured"
    assert known.low < known.mid < known.high
    assert known.mid == pytest.approx(1.45, rel=0.05)
    again = ["measure", str(tmp_path / "site-2.toml"), "room", "--watts", "500", "--inside", "24"]
    assert cli.run([*again, "--outside", "4"]) == 0
    third = load_site(tmp_path / "site-3.toml")
    assert third.known["room.envelope_ua_w_k"].grade == "measured"
    assert third.known["freezer.cabinet_ua_w_k"].mid == pytest.approx(known.mid)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["stand", "--litres", "150"], "missing --from, --to, --hours, --place"),
        (["room", "--watts", "lots", "--inside", "1", "--outside", "1"], "--watts: 'lots'"),
        (["room", "--watts", "500", "--inside", "24", "--outside", "22"], "at least 5 K over"),
        (["room", "--watts", "5", "--inside", "24", "--outside", "2"], "--watts: 5: from 20 to"),
        (["room", "--watts", "30", "--inside", "24", "--outside", "2"], "more than the air alone"),
        (["flow", "--litres", "5", "--seconds", "5", "--to", "8"], "litres a minute: 60"),
        (["chill", "--litres", "150", "--from", "20", "--to", "19.5", "--hours", "6", "--place",
          "24"], "at least 1 K under"),
        (["stand", "--litres", "150", "--from", "5", "--to", "8", "--hours", "20", "--place", "9"],
         "the place must be warmer"),
    ],
)  # fmt: skip
def test_readings_that_tell_nothing_are_one_line(tmp_path: Path, capsys, monkeypatch, arguments: list[str], says: str) -> None:  # fmt: skip  # noqa: E501
    monkeypatch.chdir(tmp_path)
    assert cli.run(["measure", "demo", *arguments]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert says in told
    assert list(tmp_path.iterdir()) == []
