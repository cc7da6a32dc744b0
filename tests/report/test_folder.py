"""A report never takes the place of anything but an untouched report, and is there whole or not at all."""

from __future__ import annotations

import pytest

from hardiness.errors import InputError
from hardiness.report.folder import MANIFEST, check_folder, whole_folder


def written(folder, text="one"):
    with whole_folder(folder) as place:
        (place / "tables").mkdir()
        (place / "report.html").write_text(text, encoding="utf-8")
        (place / "tables" / "floors.csv").write_text("a\n", encoding="utf-8")
    return folder


def problems(folder):
    with pytest.raises(InputError) as caught:
        check_folder(folder)
    return [str(problem) for problem in caught.value.problems]


def test_a_new_an_empty_and_an_untouched_folder_are_taken(tmp_path):
    folder = written(tmp_path / "out")
    assert {path.name for path in folder.iterdir()} == {"report.html", "tables", MANIFEST}
    assert (written(folder, "two") / "report.html").read_text(encoding="utf-8") == "two"
    (tmp_path / "empty").mkdir()
    assert (written(tmp_path / "empty") / MANIFEST).is_file()
    assert {path.name for path in tmp_path.iterdir()} == {"out", "empty"}


def test_a_folder_with_other_things_is_refused_and_left_alone(tmp_path):
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "frost.jpg").write_bytes(b"kept")
    (said,) = problems(tmp_path / "photos")
    assert "1 files that are no report (frost.jpg)" in said and "Name another folder" in said
    with pytest.raises(InputError), whole_folder(tmp_path / "photos"):
        pytest.fail("nothing may be made for a folder that is refused")
    assert (tmp_path / "photos" / "frost.jpg").read_bytes() == b"kept"


def test_what_was_put_into_a_report_or_changed_in_it_is_refused_by_name(tmp_path):
    folder = written(tmp_path / "out")
    (folder / "mine.txt").write_text("mine", encoding="utf-8")
    (folder / "report.html").write_text("edited", encoding="utf-8")
    added, changed = problems(folder)
    assert "'mine.txt', which the report did not write" in added
    assert "'report.html', changed since the report was written" in changed


@pytest.mark.parametrize("manifest", ["", "[]", '{"kind": "another"}', '{"kind": "hardiness report"}'])
def test_a_manifest_that_is_none_makes_no_report(tmp_path, manifest):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / MANIFEST).write_text(manifest, encoding="utf-8")
    assert "no report" in problems(tmp_path / "out")[0]


def test_a_file_a_link_and_a_missing_parent_are_refused(tmp_path):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    written(tmp_path / "out")
    (tmp_path / "link").symlink_to(tmp_path / "out")
    for name in ("file", "link"):
        assert "a file or a link" in problems(tmp_path / name)[0]
    assert "no folder" in problems(tmp_path / "nowhere" / "out")[0]


def test_a_fault_half_way_leaves_the_old_report_and_no_rest(tmp_path):
    folder = written(tmp_path / "out")
    with pytest.raises(RuntimeError, match="half-way"), whole_folder(folder) as place:
        (place / "report.html").write_text("half", encoding="utf-8")
        raise RuntimeError("half-way")
    assert (folder / "report.html").read_text(encoding="utf-8") == "one"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_file_that_comes_while_the_report_is_made_is_kept(tmp_path):
    folder = written(tmp_path / "out")
    with pytest.raises(InputError, match=r"late\.txt"), whole_folder(folder):
        (folder / "late.txt").write_text("late", encoding="utf-8")
    assert (folder / "late.txt").read_text(encoding="utf-8") == "late"
