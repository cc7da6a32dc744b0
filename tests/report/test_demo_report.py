"""The report of the demo: whole, the same twice, every page in its place, and of a sensible size."""

import io
import re

import pytest
from pypdf import PdfReader

from hardiness.demo import demo_folder
from hardiness.report import gathered
from hardiness.report.build import write_report
from hardiness.trial import open_trial
from tests.cli.conftest import hardiness


def once(compute):
    """Compute at the first call, and give the same after that."""
    made = []

    def remembered(*told, **options):
        if not made:
            made.append(compute(*told, **options))
        return made[0]

    return remembered


@pytest.mark.slow
def test_the_demo_gets_the_same_report_twice(tmp_path, monkeypatch):
    # The refits are the costly part, and the same each time: that is held where the model is tested.
    for name in ("check_fit", "sensitivity_table"):
        monkeypatch.setattr(gathered, name, once(getattr(gathered, name)))
    assert hardiness("demo", tmp_path / "trial").code == 0
    told = []
    for name in ("one", "two"):
        with open_trial(tmp_path / "trial") as trial:
            write_report(
                trial.flow(), trial.settings, tmp_path / name, token=trial.store.state_token(),
                progress=lambda done, what: told.append((done, what)),
            )  # fmt: skip
    files = sorted(path.relative_to(tmp_path / "one") for path in (tmp_path / "one").rglob("*") if path.is_file())
    assert len(files) > 20
    for file in files:
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes(), file
    first = [done for done, _ in told[: told.index((gathered.PARTS, "writing")) + 1]]
    assert first == sorted(first) and first[0] == 0 and told[-1] == (gathered.PARTS, "writing")

    page = (tmp_path / "one" / "report.html").read_text(encoding="utf-8")
    selections = (demo_folder() / "selections.csv").read_text(encoding="utf-8").splitlines()[1:]
    for line in selections:
        assert re.search(rf"<h3>{line.split(',')[0]}</h3>", page), line
    assert len(page) < 6_000_000
    pdf = PdfReader(io.BytesIO((tmp_path / "one" / "report.pdf").read_bytes()))
    heads = [page.extract_text().strip().splitlines() for page in pdf.pages]
    first = next(number for number, lines in enumerate(heads) if lines[:1] == ["Selection by selection"])
    last = next(number for number, lines in enumerate(heads) if lines[:1] == ["Freezes"])
    named = [heads[first][1], *(heads[number][0] for number in range(first + 1, last))]
    assert sorted(named) == sorted(line.split(",")[0] for line in selections)  # a page each, and no more
    assert all(page.extract_text().strip() or page.images or "/XObject" in page["/Resources"] for page in pdf.pages)
