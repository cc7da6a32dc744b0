"""``hardiness report``, ``card``, ``sheet``, ``enter``: what they write and refuse, and that a stop loses nothing."""

import json

import pytest
from click.testing import CliRunner

from hardiness.cli import main
from hardiness.report import build
from hardiness.report.folder import MANIFEST
from hardiness.report.gathered import gather
from tests.cli.conftest import Line


@pytest.fixture
def quick(monkeypatch):
    """Reports without the checks, which refit the model seven times."""
    monkeypatch.setattr(build, "gather", lambda *told: gather(*told, questions=False))


def typed(line: Line, keys: str, *words: str) -> tuple[int, str]:
    """Run ``enter`` with keys fed in: exit code, and all that was said."""
    ran = CliRunner().invoke(main, ["enter", *words, "--trial", str(line.folder)], input=keys)
    assert "Traceback" not in ran.output
    return ran.exit_code, ran.output


def test_a_report_holds_page_print_tables_workbook_and_arrays(fitted: Line, tmp_path, quick):
    folder = tmp_path / "report"
    ended = fitted.done("report", folder)
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert {"report.html", "report.pdf", "tables.xlsx", "trial.nc", "tables/floors.csv", MANIFEST} <= names
    assert f"{len(names) - 1} files in {folder}" in ended.err and "tolerance floor is an estimate" in ended.err
    assert ended.out == ""
    assert set(json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["sha256"]) == names - {MANIFEST}
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF")


def test_a_report_never_takes_the_place_of_the_trial_or_anything_else(fitted: Line, tmp_path):
    state = fitted.state
    for folder in (fitted.folder, fitted.folder / "uploads"):
        ended = fitted("report", folder)
        assert ended.code == 2 and "no report" in ended.err and "a new or empty folder" in ended.err
    assert fitted.state == state
    assert fitted("report", tmp_path / "none" / "report").code == 2


def test_an_empty_trial_gets_a_report_that_says_what_to_do(line: Line, tmp_path):
    line.done("report", tmp_path / "report")
    page = (tmp_path / "report" / "report.html").read_text(encoding="utf-8")
    assert "hardiness add selections FILE" in page and "hardiness add readings FILE --sensor S" in page


def test_scores_that_cannot_be_used_are_a_fault_of_the_input(planted: Line, tmp_path):
    planted.added("scores", "plant,scored_on,grade\nT1,2023-02-01,2\n")
    ended = planted("report", tmp_path / "report")
    assert ended.code == 2 and "Nothing to fit" in ended.err and not (tmp_path / "report").exists()


def test_cards_are_written_for_those_asked(fitted: Line, tmp_path):
    ended = fitted.done("card", tmp_path / "cards.pdf", "--selection", "CK-A", "--selection", "OL-03")
    assert "2 cards in" in ended.err and "1 card without a figure" in ended.err
    assert (tmp_path / "cards.pdf").read_bytes().startswith(b"%PDF")
    refused = fitted("card", tmp_path / "other.pdf", "--selection", "CK-B")
    assert refused.code == 2 and "Did you mean 'CK-A'?" in refused.err and not (tmp_path / "other.pdf").exists()
    assert fitted("card", tmp_path / "cards.png").code == 2
    assert fitted("card", tmp_path / "none" / "cards.pdf").code == 2


def test_a_sheet_needs_plants_and_no_scores(planted: Line, tmp_path):
    ended = planted.done("sheet", tmp_path / "sheet.pdf", "--large")
    assert "3 plants on" in ended.err and (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")
    assert planted("sheet", tmp_path / "sheet.doc").code == 2
    refused = planted("sheet", tmp_path / "sheet.pdf", "--block", "B")
    assert refused.code == 2 and "a block of the trial (A)" in refused.err


def test_a_sheet_of_an_empty_trial_says_what_to_do(line: Line, tmp_path):
    empty = line("sheet", tmp_path / "empty.pdf")
    assert empty.code == 0 and "hardiness add plants FILE" in empty.err and not (tmp_path / "empty.pdf").exists()


def test_scores_are_typed_in_the_order_of_the_walk_and_added_at_the_end(planted: Line, tmp_path):
    file = tmp_path / "walk.csv"
    code, said = typed(planted, "2nbark split\n3u4cs0f", str(file), "--date", "2023-02-20", "--observer", "A")
    assert code == 0 and "3 rows added" in said
    held = planted.held("scores").set_index("plant")
    assert held["grade"].to_dict() == {"T1": 2, "T2": 4, "T3": 0}
    assert held["protected"].to_dict() == {"T1": "", "T2": "", "T3": "snow"}
    assert set(held["observer"]) == {"A"} and {str(day) for day in held["scored_on"]} == {"2023-02-20"}


def test_a_stop_half_way_loses_nothing_and_the_same_line_goes_on(planted: Line, tmp_path):
    file = tmp_path / "walk.csv"
    for keys in ("2q", "-"):  # asked to stop; what is fed in ends
        code, said = typed(planted, keys, str(file), "--date", "2023-02-20")
        assert code == 0 and "1 score in" in said and "not added yet" in said
        assert f"hardiness add scores {file} --trial {planted.folder}" in said  # a line to copy
    assert planted.held("scores").empty
    code, said = typed(planted, "15f", str(file))
    assert code == 0 and "1 score in it already" in said
    assert planted.held("scores").set_index("plant")["grade"].to_dict() == {"T1": 2, "T2": 1, "T3": 5}
    refused = typed(planted, "f", str(file), "--date", "2023-02-21")
    assert refused[0] == 2 and "was begun with '2023-02-20'" in refused[1]


def test_nothing_typed_adds_nothing_and_bad_dates_and_places_are_refused(planted: Line, tmp_path):
    code, said = typed(planted, "---f", str(tmp_path / "walk.csv"), "--date", "2023-02-20")
    assert code == 0 and "nothing added" in said and planted.held("scores").empty
    assert typed(planted, "", str(tmp_path / "walk.csv"), "--date", "20.2.2023")[0] == 2
    assert typed(planted, "", str(tmp_path / "walk.txt"))[0] == 2
