"""What the typeface can write, and how names are made to fit."""

from matplotlib import font_manager
from matplotlib.font_manager import findfont

from hardiness.figures import typeface
from hardiness.figures.typeface import (
    FOLDER,
    SEMIBOLD,
    clean,
    font_files,
    properties,
    register_fonts,
    shorten,
    width_mm,
    wrap,
    writable,
)


def test_figures_stand_in_columns() -> None:
    assert len({round(width_mm(digit, 7.0), 6) for digit in "0123456789−"}) == 1
    assert len({round(width_mm(digit, 7.0, SEMIBOLD), 6) for digit in "0123456789−"}) == 1


def test_our_own_files_are_found_and_registering_twice_changes_nothing() -> None:
    register_fonts()
    listed = list(font_manager.fontManager.ttflist)
    register_fonts()
    assert font_manager.fontManager.ttflist == listed
    assert findfont(properties(7.0)) == str(font_files()["Source Sans 3", 400])
    assert findfont(properties(7.0, SEMIBOLD)) == str(font_files()["Source Sans 3", 600])


def test_the_fonts_are_small_and_their_licence_stands_beside_them() -> None:
    assert sum(path.stat().st_size for path in FOLDER.glob("*.ttf")) < 1_000_000
    assert "SIL OPEN FONT LICENSE" in (FOLDER / "OFL.txt").read_text(encoding="utf-8")


def test_latin_greek_and_cyrillic_can_be_written_and_what_no_font_has_cannot() -> None:
    assert all(writable(text) for text in ("Ångström Łódź Đuro", "Ελιά-3", "Яблоня Їжак", "½ ≤ − °C × …", "հայ"))
    assert not any(writable(text) for text in ("橄榄", "オリーブ", "มะกอก", "\U000f0000"))


def test_right_to_left_names_are_written_only_where_matplotlib_orders_them(monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr(typeface, "SHAPES_TEXT", True)
    assert writable("זית 12")
    monkeypatch.setattr(typeface, "SHAPES_TEXT", False)
    assert not writable("זית 12") and writable("OL-07")


def test_control_characters_and_line_breaks_leave_a_name() -> None:
    assert clean("OL\u200b-07\r\n\tB\x07") == "OL-07 B"


def test_a_shortened_name_fits_and_keeps_both_ends() -> None:
    name = "open pollinated seedling by the east gate, row 11, place 4 (B)"
    for room in (4.0, 9.0, 15.0, 26.0):
        short = shorten(name, room, 7.0, SEMIBOLD)
        assert width_mm(short, 7.0, SEMIBOLD) <= room
        assert "…" in short and name.startswith(short.split("…")[0])
    assert shorten(name, 20.0, 7.0, SEMIBOLD).endswith("4 (B)")
    assert shorten(name, 20.0, 7.0, tail=" (12)").endswith(" (12)")


def test_wrapped_lines_fit_and_lose_no_word() -> None:
    text = "OL-24 on stock P can be claimed hardy to −9.4 °C on 14 Dec, held 6.5 h at least"
    for room in (18.0, 30.0, 55.0):
        lines = wrap(text, room, 7.0)
        assert " ".join(lines) == text
        assert all(width_mm(line, 7.0) <= room for line in lines)
        assert not any(line.startswith(("°C", "Dec", "h ")) for line in lines)
