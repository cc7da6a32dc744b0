"""Properties: whatever labels go in come out, and any order of adds and withdrawals leaves what a simple model says."""

import csv
import io
import unicodedata

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hardiness.read.records import parse_records
from hardiness.read.tables import read_table
from hardiness.schema import SELECTIONS
from hardiness.store import open_store

LABEL = (
    st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp")), max_size=80)
    .map(lambda text: unicodedata.normalize("NFC", text.strip()))
    .filter(lambda text: text != "")
)
MANY = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def as_csv(columns, rows):
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue()


@pytest.fixture(scope="module")
def counter():
    return iter(range(1_000_000))


@given(selection=LABEL, plant=LABEL, rootstock=LABEL, observer=LABEL, notes=LABEL)
@MANY
def test_whatever_labels_go_in_come_out(trial, counter, selection, plant, rootstock, observer, notes):
    example = {"example": next(counter)}  # the trial is the same for all examples: no file may be one of before
    files = {
        "selections": (["selection", "notes"], [selection, notes]),
        "plants": (["plant", "selection", "rootstock"], [plant, selection, rootstock]),
        "scores": (["plant", "scored_on", "grade", "observer"], [plant, "2026-02-10", "3", observer]),
    }
    for table, (columns, row) in files.items():
        trial.add(table, as_csv(columns, [row]), options=example)
    with open_store(trial.folder, trial.settings) as store:
        tables = {name: store.current(name) for name in files}
    stock = "own" if rootstock.lower() == "own" else rootstock
    assert (selection, notes) in _rows(tables["selections"], "selection", "notes")
    assert (plant, selection, stock) in _rows(tables["plants"], "plant", "selection", "rootstock")
    assert (plant, observer) in _rows(tables["scores"], "plant", "observer")
    named = as_csv(["plant", "scored_on", "observer"], [[plant, "2026-02-10", observer]])
    trial.withdraw("scores", named)
    assert (plant, observer) not in _rows(trial.store.current("scores"), "plant", "observer")
    assert trial.withdraw("scores", named, undo=True).count == 1


def _rows(frame, *columns):
    return set(zip(*(frame[column] for column in columns), strict=True))


class Model:
    """What counts, worked out the slow way: every file in order, each row unless it or its file is withdrawn."""

    def __init__(self):
        self.files = []  # [counts, {key: ({column: value}, row counts)}]

    def add(self, rows):
        self.files.append([True, {key: [dict(values), True] for key, values in rows.items()}])

    def mark_rows(self, keys, counts):
        for _, rows in self.files:
            for key in keys:
                if key in rows:
                    rows[key][1] = counts

    def current(self):
        state = {}
        for counts, rows in self.files:
            for key, (values, row_counts) in rows.items():
                if counts and row_counts:
                    state.setdefault(key, {"origin": "", "notes": ""}).update(values)
        return state


KEYS = ["OL-01", "OL-02", "OL-03"]
ROWS = st.dictionaries(
    st.sampled_from(KEYS),
    st.fixed_dictionaries({}, optional={"notes": st.sampled_from(["a", "b", ""])}),
    min_size=1,
)
ACTS = st.lists(
    st.one_of(
        st.tuples(st.just("add"), st.booleans(), ROWS),
        st.tuples(st.just("rows"), st.booleans(), st.sets(st.sampled_from(KEYS), min_size=1)),
        st.tuples(st.just("file"), st.booleans(), st.integers(0, 9)),
    ),
    max_size=8,
)


@given(acts=ACTS)
@MANY
def test_any_order_of_acts_leaves_what_a_simple_model_says(tmp_path_factory, settings, counter, acts):
    model, hashes = Model(), []
    folder = tmp_path_factory.mktemp(f"acts{next(counter)}")
    with open_store(folder, settings) as store:
        for what, flag, given_rows in acts:
            if what == "add":
                hashes.append(_add(store, settings, folder, model, given_rows, with_notes=flag, number=len(hashes)))
            elif what == "rows":
                known = {key for _, rows in model.files for key in rows}
                if named := sorted(given_rows & known):
                    _withdraw(store, settings, folder, named, undo=flag)
                    model.mark_rows(named, flag)
            elif hashes:
                number = given_rows % len(hashes)
                store.withdraw_upload(hashes[number], undo=flag)
                model.files[number][0] = flag
            frame = store.current("selections")
            found = {row.selection: {"origin": row.origin, "notes": row.notes} for row in frame.itertuples()}
            assert found == model.current()


def _read(settings, path, **options):
    return parse_records(read_table(path, SELECTIONS), SELECTIONS, settings, **options)


def _add(store, settings, folder, model, rows, *, with_notes, number):
    origin = ["seedling", "clone", "sport"][number % 3]
    columns = ["selection", "origin", *(["notes"] if with_notes else [])]
    values = {
        key: {"origin": origin, **({"notes": row.get("notes", "")} if with_notes else {})} for key, row in rows.items()
    }
    path = folder.parent / f"{folder.name}-{number}.csv"
    path.write_text(as_csv(columns, [[key, *row.values()] for key, row in values.items()]), newline="")
    model.add(values)
    return store.add_records(_read(settings, path), path, options={"number": number}).sha256


def _withdraw(store, settings, folder, keys, *, undo):
    path = folder.parent / f"{folder.name}-withdraw.csv"
    path.write_text("selection\n" + "\n".join(keys) + "\n")
    store.withdraw("selections", _read(settings, path, keys_only=True), undo=undo)
