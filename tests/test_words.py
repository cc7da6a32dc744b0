"""Numbers and sentences as people read them."""

import datetime as dt

import pytest

from hardiness import words
from hardiness.units import parse_temperature


@pytest.mark.parametrize(
    ("celsius", "units", "text"),
    [(-9.4, "C", "−9.4 °C"), (-9.4, "F", "15.1 °F"), (0.0, "C", "0.0 °C"), (-0.02, "C", "0.0 °C"),
     (-40, "F", "−40.0 °F")],
)  # fmt: skip
def test_a_temperature_has_a_true_minus_sign_and_its_unit(celsius: float, units: str, text: str) -> None:
    assert words.temperature(celsius, units) == text
    assert "-" not in words.temperature(celsius, units)


@pytest.mark.parametrize("claimable", [-9.44, -9.41, -9.4, -9.49999, -0.01, -12.35])
@pytest.mark.parametrize("units", ["C", "F"])
def test_a_printed_claim_is_never_colder_than_the_evidence(claimable: float, units: str) -> None:
    printed = float(words.claim_number(claimable, units).replace("−", "-"))
    assert words.shown(claimable, units) - 1e-6 <= printed < words.shown(claimable, units) + 0.1


def test_a_claim_on_the_tenth_stays_there() -> None:
    assert [words.claim_number(-tenths / 10) for tenths in (86, 93, 101)] == ["−8.6", "−9.3", "−10.1"]


def test_a_threshold_names_its_unit_only_where_the_trial_shows_another() -> None:
    assert words.threshold_text(parse_temperature("28 F"), "F") == "28"
    assert words.threshold_text(parse_temperature("-5.5 C"), "F") == "−5.5 °C"


def test_hours_lose_their_decimal_from_ten_on() -> None:
    assert [words.hours(h) for h in (0.25, 9.94, 9.96, 38.2)] == ["0.2 h", "9.9 h", "10 h", "38 h"]


def test_days_and_counts_read_as_a_sentence() -> None:
    assert words.day(dt.date(2032, 2, 29)) == "29 Feb"
    assert words.listed([words.count(n, "freeze") for n in (0, 1, 2)]) == "no freezes, 1 freeze and 2 freezes"
    assert words.listed([]) == ""


def test_stocks_and_shares_are_said_in_words() -> None:
    assert [words.on_stock(stock) for stock in ("own", "stock P")] == ["on its own roots", "on stock P"]
    assert [words.share(value) for value in (0.5, 0.9, 0.85)] == ["half", "9 in 10", "85 %"]
