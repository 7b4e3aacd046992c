"""Quantities with units, checked against exact definitions.

1 in = 25.4 mm and 1 lb = 0.453 592 37 kg exactly (international yard and pound agreement 1959);
US gallon 231 in3 exactly; imperial gallon 4.546 09 L exactly; both from memory of their statutes.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from springhouse_host import units
from springhouse_host.units import UNITS, UnitRefusedError, parse

FINITE = st.floats(-1e9, 1e9, allow_subnormal=False)
WORDS = [(kind, word) for kind, unit in UNITS.items() for word in unit.words]


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("32 US gal", "L", 32 * 231 * 0.0254**3 * 1000),
        ("10 imperial gal", "L", 45.4609),
        ("26 ft", "m", 7.9248),
        ("0.25 in", "mm", 6.35),
        ("100 ft2", "m2", 9.290304),
        ("2 lb", "kg", 0.90718474),
        ("32 °F", "°C", 0.0),
        ("212 °F", "°C", 100.0),
        ("-40 °F", "°C", -40.0),
        ("75 °F", "°C", 23.0 + 8.0 / 9.0),
        ("273.15 K", "°C", 0.0),
        ("9 °F", "K", 5.0),
        ("3 °F", "K", 5.0 / 3.0),
        ("3 °C", "K", 3.0),
        ("1 US gal/min", "L/min", 3.785411784),
        ("100 cfm", "m3/h", 100 * 0.3048**3 * 60),
        ("90 min", "h", 1.5),
        ("1.5 kW", "W", 1500.0),
        ("7", "mm", 7.0),
        ("1/4 in", "mm", 6.35),
        ("1 1/4 in", "mm", 31.75),
        ("1-1/4 in", "mm", 31.75),
        ("-1 1/2 °C", "°C", -1.5),
        ("5'6\"", "m", 66 * 0.0254),
        ("5 ft 6 1/2 in", "m", 66.5 * 0.0254),
        ("5 cu ft", "L", 5 * 30.48**3 / 1000),
        ("2 US qt", "L", 2 * 231 * 0.0254**3 * 250),
        ("2 US pt", "L", 2 * 231 * 0.0254**3 * 125),
        ("120 US gph", "L/min", 2 * 3.785411784),
        ("230 kWh per year", "kWh/year", 230.0),
    ],
)
def test_text_with_a_unit(text: str, kind: str, value: float) -> None:
    assert parse(text, kind) == pytest.approx(value, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("first", "second", "kind"),
    [
        ("12 L", "12 litres", "L"),
        ("12 L", "12l", "L"),
        ("5 US gal", "5 U.S. gallons", "L"),
        ("5 imperial gal", "5 imp. gallons", "L"),
        ("20 °C", "20 degC", "°C"),
        ("20 °C", "20 deg C", "°C"),
        ("20 °C", "20 C", "°C"),
        ("3 m2", "3 m²", "m2"),
        ("0.04 W/(m K)", "0.04 W/(m·K)", "W/(m K)"),
        ("5 ft3", "5 Cu. Ft.", "L"),
        ("5 ft3", "5 cubic feet", "L"),
        ("90 ft2", "90 sq. ft.", "m2"),
        ("0.375 in", '3/8"', "mm"),
        ("1.25 in", "1¼ inches", "mm"),
        ("0.5 in", "½ IN", "mm"),
        ("68 °F", "68F", "°C"),
        ("68 °F", "68 deg F", "°C"),
        ("10 lb", "10 lbs", "kg"),
        ("3000 BTU/h", "3000 Btu/hr", "W"),
        ("230 kWh/year", "230 kWh/yr", "kWh/year"),
        ("2 US gal/min", "2 US gpm", "L/min"),
        ("12 ft", "12'", "m"),
    ],
)
def test_spellings_mean_the_same(first: str, second: str, kind: str) -> None:
    assert parse(first, kind) == parse(second, kind)


@pytest.mark.parametrize("text", ["32 gal", "32 gallons", "32gal", "1 gallon", "1/2 Gal."])
def test_a_bare_gallon_is_refused_and_both_are_named(text: str) -> None:
    with pytest.raises(UnitRefusedError, match=r"US gal.*imperial gal"):
        parse(text, "L")


@pytest.mark.parametrize(
    "text",
    [
        *("nan", "inf", "-inf", "1e999", "1e999 L", "nan L", "", "L", "ten L", "1 2 L", "1,5 L"),
        *("3 m", "1/0 L", "1//2 L", "1/2/3 L", "1,200 L", "1 2 3/4 L", "1/ 2/ L"),
        "9" * 400 + "/2 L",
    ],
)
def test_what_is_no_volume_is_refused(text: str) -> None:
    with pytest.raises(UnitRefusedError):
        parse(text, "L")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 10**400, True, None, [1], {}])
def test_what_is_no_number_is_refused(value: object) -> None:
    with pytest.raises(UnitRefusedError):
        parse(value, "L")


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("2 mmH2O", "Pa", 19.6133),  # conventional millimetre of water, 9.80665 Pa
        ("2 mm H₂O", "Pa", 19.6133),
        ("0.1 in H2O", "Pa", 24.9089),  # NIST SP 811, conventional inch of water, 249.0889 Pa
        ("25 pa", "Pa", None),
        ("4 1/h", "1/h", 4.0),
        ("1/h", "1/h", None),
        ("41/h", "1/h", None),
    ],
)
def test_pressure_of_a_fan_and_times_an_hour(text: str, kind: str, value: float | None) -> None:
    if value is None:
        with pytest.raises(UnitRefusedError):
            parse(text, kind)
    else:
        assert parse(text, kind) == pytest.approx(value, rel=1e-5)


@given(FINITE, st.sampled_from(WORDS))
def test_every_word_converts_there_and_back(value: float, kind_word: tuple[str, str]) -> None:
    kind, word = kind_word
    there = parse(f"{value!r} {word}", kind)
    back = units.convert(there, kind, word, kind=kind)
    assert back == pytest.approx(value, rel=1e-9, abs=1e-6)


@given(FINITE, st.sampled_from([k for k in UNITS if k]))
def test_a_bare_number_is_in_the_unit_of_the_key(value: float, kind: str) -> None:
    assert parse(value, kind) == value
    assert parse(f"{value!r} {kind}", kind) == value


@given(st.floats(-500, 500), st.floats(0.01, 100))
def test_a_difference_does_not_depend_on_where_the_scale_begins(at: float, step: float) -> None:
    fahrenheit = parse(f"{at + step!r} °F", "°C") - parse(f"{at!r} °F", "°C")
    assert parse(f"{step!r} °F", "K") == pytest.approx(fahrenheit, rel=1e-6, abs=1e-9)


@given(st.text(max_size=30), st.sampled_from(sorted(UNITS)))
def test_any_text_is_a_finite_number_or_refused(text: str, kind: str) -> None:
    try:
        assert math.isfinite(parse(text, kind))
    except UnitRefusedError as refused:
        assert "\n" not in str(refused)


def test_screens_in_us_units() -> None:
    assert units.show(150.0, "L", us=True) == "39.6 US gal"
    assert units.show(25.0, "°C", us=True) == "77 °F"
    assert units.show(5.0, "K", us=True) == "9 °F"
    assert units.show(1234.0, "W", us=True) == "1234 W"


def test_freezing_is_nought_and_not_what_rounding_left() -> None:
    assert units.parse("32 °F", "°C") == 0.0
    assert units.parse("212 °F", "°C") == 100.0
    assert units.show(22.7778, "°C", us=True) == "73 °F"
