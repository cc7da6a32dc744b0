"""Cards: the figure that may be claimed in both units, what is behind it, and no figure where there is none."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import pytest
from pypdf import PdfReader

from hardiness import words
from hardiness.errors import InputError
from hardiness.report.cards import card_pdf, make_cards, zone_words
from hardiness.units import to_celsius
from tests.report.conftest import FOREIGN, LONG


def card_of(gathered, name, rootstock=None):
    (card,) = make_cards(gathered, [name], rootstock)
    return card


def test_a_card_gives_the_claimable_figure_rounded_to_the_warm_side_in_both_units(gathered):
    figures = {figure.stock: figure for figure in card_of(gathered, LONG).figures}
    for row in gathered.floors[gathered.floors["selection"] == LONG].to_dict("records"):
        figure = figures[words.on_stock(row["rootstock"])]
        shown_c, shown_f = (float(text.split()[0].replace("−", "-")) for text in (figure.celsius, figure.fahrenheit))
        assert row["claimable_c"] <= shown_c < row["claimable_c"] + 0.1
        assert row["claimable_c"] <= to_celsius(shown_f, "F") < row["claimable_c"] + 0.06
        assert figure.instead == "" and figure.zone.startswith("in half-zone ")


def test_a_card_says_what_is_behind_the_figure_and_what_was_never_tested(gathered):
    figure = card_of(gathered, LONG, "own").figures[0]
    assert figure.behind == "2 plants, 4 scores in 2 winters (2022-23 to 2023-24), none lost."
    assert figure.came_through == "Came through −9.0 °C for 1 h on two of two plants; never tested colder."
    assert figure.never == "Never tested colder than −9.0 °C, nor before 10 Jan or after 12 Jan."


def test_a_loss_in_a_milder_freeze_stands_on_the_card(gathered):
    floors = gathered.floors.copy()
    cell = (floors["selection"] == LONG) & (floors["rootstock"] == "own")
    floors.loc[cell, ["killed", "warmest_fatal_c"]] = [1, -8.275]
    figure = card_of(replace(gathered, floors=floors), LONG, "own").figures[0]
    assert figure.came_through == (
        "Came through −9.0 °C for 1 h on two of two plants, though one of two died at −8.3 °C; never tested colder."
    )


def test_never_tested_and_all_died_get_no_figure(gathered):
    untested = card_of(gathered, "<b>OL-03</b>")
    assert {figure.instead for figure in untested.figures} == {"No figure: never tested."}
    assert all(not (figure.celsius or figure.fahrenheit or figure.zone) for figure in untested.figures)
    died = gathered.floors[gathered.floors["evidence"] == "all died"]
    for row in died.to_dict("records"):
        figure = card_of(gathered, row["selection"], row["rootstock"]).figures[0]
        assert figure.instead == "No figure: every plant that met a freeze was lost." and figure.celsius == ""
        assert figure.never.startswith("Never tested in a milder freeze")
    assert len(died) >= 1


def test_cards_come_hardiest_first_and_one_for_each_selection_asked(gathered):
    assert [card.selection for card in make_cards(gathered)] == list(gathered.order)
    assert [card.selection for card in make_cards(gathered, ["CK-A", LONG, "CK-A"])] == ["CK-A", LONG]
    assert {card.selection for card in make_cards(gathered, (), "stock P")} == {LONG, "CK-A", "<b>OL-03</b>"}


def test_unknown_names_are_refused_together_with_near_ones(gathered):
    with pytest.raises(InputError) as caught:
        make_cards(gathered, ["CK-B"], "stock Q")
    first, second = (str(problem) for problem in caught.value.problems)
    assert "found selection 'CK-B'" in first and "'CK-A'" in first
    assert "found rootstock 'stock Q'" in second and "stock P" in second


@pytest.mark.parametrize(
    ("fahrenheit", "zone"), [(10.0, "8a (10 to 15 °F)"), (9.99, "7b (5 to 10 °F)"), (0.0, "7a (0 to 5 °F)"),
                             (-0.1, "6b (−5 to 0 °F)")]
)  # fmt: skip
def test_an_edge_belongs_to_the_warmer_half_zone(fahrenheit, zone):
    assert zone_words(to_celsius(fahrenheit, "F")) == f"in half-zone {zone}"


def test_two_cards_share_a_page_and_carry_caution_and_source(gathered):
    content = card_pdf(gathered, make_cards(gathered))
    pages = PdfReader(io.BytesIO(content)).pages
    assert len(pages) == 2 and content == card_pdf(gathered, make_cards(gathered))
    text = " ".join(" ".join(page.extract_text().split()) for page in pages)
    assert text.count("A tolerance floor is an estimate for the places and winters tested") == 4
    assert "USDA Plant Hardiness Zone Map, 2023" in text and "About every second year is colder" in text
    assert FOREIGN not in text and "selection no. 2" in text
    assert not math.isnan(gathered.floors["claimable_c"].min())


@pytest.mark.parametrize(("units", "first"), [("C", "celsius"), ("F", "fahrenheit")])
def test_the_trials_own_unit_stands_first(gathered, units, first):
    own = replace(gathered, settings=replace(gathered.settings, units=units))
    cards = make_cards(own, [LONG], "own")
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(card_pdf(own, cards))).pages)
    places = {name: text.index(getattr(cards[0].figures[0], name)) for name in ("celsius", "fahrenheit")}
    assert min(places, key=places.__getitem__) == first
    assert f"°{units} for 1 h on two of two plants" in text
