"""Records in the store: added, updated, repeated, withdrawn, and every act in the history."""

import datetime as dt
import hashlib
import json

import pandas as pd
import pytest

from hardiness.errors import InputError
from hardiness.schema import RECORD_TABLES
from hardiness.store import Change, open_store


def problems(call, *arguments, **options):
    with pytest.raises(InputError) as caught:
        call(*arguments, **options)
    return [str(problem) for problem in caught.value.problems]


def test_a_new_trial_has_all_tables_and_no_rows(trial):
    for name, table in RECORD_TABLES.items():
        frame = trial.store.current(name)
        assert list(frame.columns) == list(table.names) and len(frame) == 0
    assert trial.store.readings() == {} and len(trial.store.history()) == 0 and len(trial.store.uploads()) == 0
    assert trial.store.uploads()["counts"].dtype == bool


def test_what_goes_in_comes_out_with_its_types(planted):
    planted.add("scores", "plant,scored_on,grade,observer\nT1,2026-02-10,unharmed,RM\nT1,2026-02-10,2,AK\n")
    planted.add("sensors", "sensor,latitude,shielded\nL1,41.25,no\nL2,,\n")
    scores = planted.store.current("scores")
    assert list(scores["scored_on"]) == [dt.date(2026, 2, 10)] * 2
    assert list(scores["grade"]) == [0, 2] and scores["grade"].dtype == "int64"
    assert list(scores["notes"]) == ["", ""]
    sensors = planted.store.current("sensors")
    assert sensors["latitude"].tolist()[0] == 41.25 and pd.isna(sensors["latitude"].tolist()[1])
    assert list(sensors["shielded"]) == ["no", ""] and sensors["offset_c"].dtype == "float64"
    plants = planted.store.current("plants")
    assert list(plants["planted_on"]) == [None, None, None]


def test_an_upload_is_kept_as_it_came_under_its_hash(trial):
    text = "selection\r\nOL-07\r\n"
    intake = trial.add("selections", text, "my selections.csv")
    assert intake.sha256 == hashlib.sha256(text.encode()).hexdigest()
    kept = trial.folder / "uploads" / intake.sha256
    assert kept.read_bytes() == text.encode() and kept.stat().st_mode & 0o777 == 0o444
    (upload,) = trial.store.uploads().to_dict("records")
    assert upload["upload"] == intake.sha256 and upload["file"] == "my selections.csv"
    assert (upload["table"], upload["rows"], upload["who"], upload["counts"]) == ("selections", 1, "RM", True)


def test_the_same_file_twice_changes_nothing_and_says_so(planted):
    text = "plant,scored_on,grade\nT1,2026-02-10,3\n"
    planted.add("scores", text, "first name.csv")
    token, history = planted.store.state_token(), len(planted.store.history())
    again = planted.add("scores", text, "second name.csv")
    assert again.repeated and (again.added, again.updated) == (0, [])
    today = dt.datetime.now(dt.UTC).date()
    assert again.said == [f"The same file was added on {today} by RM as 'first name.csv': nothing has changed."]
    assert planted.store.state_token() == token and len(planted.store.history()) == history


def test_an_old_file_given_again_says_that_newer_ones_stand(planted):
    old = "plant,scored_on,grade\nT1,2026-02-10,3\nT2,2026-02-10,1\n"
    planted.add("scores", old)
    planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,4\n")
    again = planted.add("scores", old)
    assert again.repeated and planted.column("scores", "grade") == [4, 1]
    assert again.said[1:] == [
        "Changed since by files added later, and left as those say: 1 of its 2 rows. To go back, withdraw those files: "
        "hardiness withdraw upload HASH."
    ]


def test_other_options_make_it_another_file(trial):
    text = "selection\nOL-07\n"
    assert not trial.add("selections", text, options={"sheet": "a"}).repeated
    second = trial.add("selections", text, options={"sheet": "b"})
    assert not second.repeated and second.unchanged == 1
    assert trial.add("selections", text, options={"sheet": "a"}).repeated
    assert len(list((trial.folder / "uploads").iterdir())) == 1


def test_a_changed_row_is_an_update_old_to_new(planted):
    first = planted.add("scores", "plant,scored_on,grade,observer\nT1,2026-02-10,3,RM\nT2,2026-02-10,1,RM\n")
    assert (first.added, first.updated, first.unchanged) == (2, [], 0)
    rows = "T1,2026-02-10,4,RM,bark split\nT2,2026-02-10,1,RM,\nT3,2026-02-10,0,RM,\n"
    second = planted.add("scores", "plant,scored_on,grade,observer,notes\n" + rows)
    key = ("T1", "2026-02-10", "RM")
    assert second.updated == [Change(key, "grade", "3", "4"), Change(key, "notes", "", "bark split")]
    assert (second.added, second.updated_rows, second.unchanged) == (1, 1, 1)
    assert planted.column("scores", "grade") == [4, 1, 0]


def test_columns_that_a_file_does_not_have_stay_as_they_were(planted):
    change = planted.add("plants", "plant,selection,rootstock,removed_on\nT1,OL-07,stock P,2026-03-01\n")
    assert change.updated == [Change(("T1",), "removed_on", "", "2026-03-01")]
    assert planted.column("plants", "block") == ["A", "A", "B"]
    emptied = planted.add("plants", "plant,selection,rootstock,block\nT1,OL-07,stock P,\n")
    assert emptied.updated == [Change(("T1",), "block", "A", "")]


def test_a_table_is_taken_whole_or_not_at_all(planted):
    before = planted.store.state_token(), planted.files_kept, len(planted.store.history())
    text = "plant,scored_on,grade\nT1,2026-02-10,3\nT9,2026-02-10,3\nT8,2026-02-10,1\n"
    found = problems(planted.add, "scores", text, "scores.csv")
    assert [text.split(":")[0] for text in found] == [
        "scores.csv, row 3, column plant",
        "scores.csv, row 4, column plant",
    ]
    assert (planted.store.state_token(), planted.files_kept, len(planted.store.history())) == before


def test_a_file_of_bad_rows_can_be_mended_and_added(planted):
    problems(planted.add, "scores", "plant,scored_on,grade\nT9,2026-02-10,3\n")
    assert planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,3\n").added == 1


def test_a_better_score_after_a_settled_death_is_refused_until_the_death_is_withdrawn(planted):
    planted.add("scores", "plant,scored_on,grade\nT1,2025-12-20,5\n")

    def settled(plant, death, later):
        return plant == "T1" and death < dt.date(2026, 1, 12) < later

    better = "plant,scored_on,grade\nT1,2026-05-02,3\n"
    (text,) = problems(planted.add, "scores", better, "spring.csv", death_settled=settled)
    assert text.startswith("spring.csv, row 2, column grade: found grade 3 on 2026-05-02 for plant 'T1', scored dead")
    assert text.endswith("Withdraw the score of 2025-12-20 first: hardiness withdraw scores FILE.")
    planted.withdraw("scores", "plant,scored_on\nT1,2025-12-20\n")
    assert planted.add("scores", better, death_settled=settled).added == 1
    (text,) = problems(planted.withdraw, "scores", "plant,scored_on\nT1,2025-12-20\n", undo=True, death_settled=settled)
    assert "scored dead on 2025-12-20" in text


def test_withdrawing_rows_by_file_and_undoing_it(planted):
    planted.add("scores", "plant,scored_on,grade,observer\nT1,2026-02-10,3,RM\nT2,2026-02-10,1,RM\n")
    planted.add("scores", "plant,scored_on,grade,observer\nT1,2026-02-10,4,RM\n")
    token = planted.store.state_token()
    named = "plant,scored_on,observer\nT1,2026-02-10,RM\n"
    gone = planted.withdraw("scores", named)
    assert (gone.count, gone.said) == (1, ["1 row of scores stopped counting."])
    assert planted.column("scores", "plant") == ["T2"]  # no earlier version comes back: the row itself was wrong
    assert planted.withdraw("scores", named).said == ["Withdrawn before, so nothing has changed: 1 row of scores."]
    back = planted.withdraw("scores", named, undo=True)
    assert (back.count, back.said) == (1, ["1 row of scores came back."])
    assert planted.column("scores", "grade") == [4, 1] and planted.store.state_token() == token
    again = planted.withdraw("scores", named, undo=True)
    assert (again.count, again.said) == (0, ["Counting already, so nothing has changed: 1 row of scores."])


def test_withdrawing_rows_that_never_were_is_refused_with_near_rows(planted):
    planted.add("scores", "plant,scored_on,grade,observer\nT1,2026-02-10,3,RM\n")
    (text,) = problems(planted.withdraw, "scores", "plant,scored_on\nT1,2026-02-10\n")
    assert "row 2: found plant 'T1', scored_on 2026-02-10, never added; accepted: rows of scores." in text
    assert text.endswith("Did you mean plant 'T1', scored_on 2026-02-10, observer 'RM'?")
    (text,) = problems(planted.withdraw, "selections", "selection\nOL-7\n")
    assert text.endswith("Did you mean selection 'OL-07'?")


def test_a_withdrawn_row_added_by_a_new_file_counts_again(planted):
    text = "plant,scored_on,grade\nT1,2026-02-10,3\n"
    planted.add("scores", text)
    planted.withdraw("scores", "plant,scored_on\nT1,2026-02-10\n")
    again = planted.add("scores", text)
    assert again.repeated and planted.column("scores", "plant") == []
    assert again.said[1] == (
        "Withdrawn since, so not counting: 1 of its 1 row. To undo that: hardiness withdraw scores FILE --undo."
    )
    assert planted.add("scores", text + "T2,2026-02-10,1\n").added == 2
    assert planted.column("scores", "plant") == ["T1", "T2"]


def test_withdrawing_an_upload_brings_the_earlier_state_back_and_undoing_it_the_later(planted):
    planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,3\nT2,2026-02-10,1\n")
    token = planted.store.state_token()
    second = planted.add("scores", "plant,scored_on,grade,notes\nT1,2026-02-10,4,worse\nT3,2026-02-10,0,\n", "b.csv")
    later = planted.store.state_token()
    done = planted.store.withdraw_upload(second.sha256[:10])
    assert done.said == ["'b.csv' stopped counting: 1 row of scores dropped out, 1 row went back to an earlier state."]
    assert planted.store.state_token() == token
    assert planted.column("scores", "grade") == [3, 1] and planted.column("scores", "notes") == ["", ""]
    assert list(planted.store.uploads()["counts"]) == [True, True, True, False]
    assert "withdrawn already" in planted.store.withdraw_upload(second.sha256[:10]).said[0]
    undone = planted.store.withdraw_upload(second.sha256.upper(), undo=True)
    assert undone.said == ["'b.csv' came back: 1 row of scores came back, 1 row changed."]
    assert planted.store.state_token() == later and planted.column("scores", "grade") == [4, 1, 0]
    assert "counts already" in planted.store.withdraw_upload(second.sha256[:10], undo=True).said[0]


def test_a_rehearsed_withdrawal_tells_the_same_and_stores_nothing(planted):
    planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,3\nT2,2026-02-10,1\n")
    second = planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,4\nT3,2026-02-10,0\n", "b.csv")
    token, acts = planted.store.state_token(), len(planted.store.history())
    told = planted.store.withdraw_upload(second.sha256, rehearse=True)
    assert (planted.store.state_token(), len(planted.store.history())) == (token, acts)
    assert told.gone == [("T3", "2026-02-10", "")] and told.back == []
    assert told.changed == [Change(("T1", "2026-02-10", ""), "grade", "4", "3")]
    assert planted.store.withdraw_upload(second.sha256, why=" wrong walk ") == told
    undone = planted.store.withdraw_upload(second.sha256, undo=True, rehearse=True)
    assert undone.back == told.gone and undone.changed[0].new == "4"
    assert "counts already" not in planted.store.withdraw_upload(second.sha256, undo=True).said[0]
    acts = planted.store.history()
    whole = acts[acts["key"] == ""]
    assert [json.loads(new) for new in whole["new"].tail(2)] == [{"rows": 2, "why": "wrong walk"}, {"rows": 2}]


def test_a_rehearsal_refuses_what_the_withdrawal_would_and_leaves_the_records_open(planted):
    plants = planted.store.uploads()["upload"].iloc[1]
    planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,3\n")
    refused = problems(planted.store.withdraw_upload, plants, rehearse=True)
    assert refused == problems(planted.store.withdraw_upload, plants) and len(refused) == 1
    assert planted.add("scores", "plant,scored_on,grade\nT2,2026-02-10,3\n").added == 1


def test_a_row_that_two_uploads_bring_counts_while_one_of_them_does(planted):
    first = planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,3\n")
    planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,3\nT2,2026-02-10,0\n")
    planted.store.withdraw_upload(first.sha256)
    assert planted.column("scores", "grade") == [3, 0]


def test_a_withdrawn_upload_given_again_says_how_to_undo_it(planted):
    text = "plant,scored_on,grade\nT1,2026-02-10,3\n"
    sha256 = planted.add("scores", text).sha256
    planted.store.withdraw_upload(sha256)
    again = planted.add("scores", text)
    assert again.repeated and f"hardiness withdraw upload {sha256[:12]} --undo" in again.said[1]
    assert planted.column("scores", "plant") == []


def test_undoing_by_file_does_not_undo_a_withdrawn_upload(planted):
    upload = planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,3\n")
    named = "plant,scored_on\nT1,2026-02-10\n"
    planted.withdraw("scores", named)
    planted.store.withdraw_upload(upload.sha256)
    undone = planted.withdraw("scores", named, undo=True)
    assert undone.count == 0 and "Still withdrawn, with the upload that brought them" in undone.said[0]
    planted.store.withdraw_upload(upload.sha256, undo=True)
    assert planted.column("scores", "grade") == [3]


def test_a_selection_that_has_plants_cannot_be_withdrawn(planted):
    found = problems(planted.withdraw, "selections", "selection\nOL-07\n")
    assert found == [
        f"plants, plant 'T{n}', column selection: found selection 'OL-07', not in selections; accepted: a selection of "
        "the trial. That row rests on it: withdraw it too, or first."
        for n in (1, 2)
    ]
    assert planted.column("selections", "selection") == ["OL-07", "OL-08"]
    upload = planted.store.uploads()["upload"][0]
    assert len(problems(planted.store.withdraw_upload, upload)) == 3
    planted.withdraw("plants", "plant\nT1\nT2\n")
    assert planted.withdraw("selections", "selection\nOL-07\n").count == 1


def with_sensors(*rows):
    return "plant,selection,rootstock,sensor\n" + "".join(f"{plant},OL-07,own,{sensor}\n" for plant, sensor in rows)


def test_plants_may_name_sensors_whose_readings_come_later_and_that_is_said_once_a_name(planted, logger):
    planted.add("sensors", "sensor\nL1\n")
    planted.add_readings(logger([-1.0]), sensor="Hilltop")
    planted.withdraw("sensors", "sensor\nHilltop\n")  # it has readings still
    rows = [("T1", "L1;L11"), ("T2", "L11; L1;L11"), ("T4", "Hilltop"), ("T5", "Hiltop"), ("T6", "L11"), ("T7", "")]
    plants = planted.add("plants", with_sensors(*rows))
    assert plants.said == [
        "Sensor 'L11' of 3 plants has no record and no readings yet. Did you mean 'L1'?",
        "Sensor 'Hiltop' of plant 'T5' has no record and no readings yet. Did you mean 'Hilltop'?",
    ]
    assert planted.column("plants", "sensor") == ["L1;L11", "L11; L1;L11", "", "Hilltop", "Hiltop", "L11", ""]
    planted.add("sensors", "sensor\nL11\n")
    assert planted.add("plants", with_sensors(("T1", "L11"), ("T8", "L1"))).said == []
    assert planted.add("plants", "plant,selection,rootstock,block\nT5,OL-07,own,B\n").said == []  # not its subject
    assert planted.column("plants", "sensor")[4] == "Hiltop"


def test_a_first_file_of_plants_names_sensors_of_which_there_are_none_at_all(planted):
    assert planted.add("plants", with_sensors(("T1", "L1"), ("T2", "L1"))).said == [
        "Sensor 'L1' of 2 plants has no record and no readings yet."
    ]


def test_a_column_of_other_things_does_not_fill_the_screen(planted):
    said = planted.add("plants", with_sensors(*((f"X{n}", f"row {n}") for n in range(300)))).said
    assert len(said) == 21 and said[0] == "Sensor 'row 0' of plant 'X0' has no record and no readings yet."
    assert said[20] == "Of 280 more sensors that plants name there is no record and no reading."


def test_a_sensor_that_plants_name_may_be_withdrawn_and_that_is_said(planted):
    brought = planted.add("sensors", "sensor\nL1\nL11\n")
    planted.add("plants", with_sensors(("T1", "L1"), ("T2", "L1;L9"), ("T3", "L11")))
    gone = planted.withdraw("sensors", "sensor\nL1\n")
    assert gone.said == [
        "1 row of sensors stopped counting.",
        "Sensor 'L1' of 2 plants has no record and no readings any more.",
    ]
    assert planted.column("sensors", "sensor") == ["L11"]
    assert planted.withdraw("sensors", "sensor\nL1\n", undo=True).said == ["1 row of sensors came back."]
    assert planted.store.withdraw_upload(brought.sha256).said[1:] == [
        "Sensor 'L1' of 2 plants has no record and no readings any more.",
        "Sensor 'L11' of plant 'T3' has no record and no readings any more.",
    ]
    assert planted.column("sensors", "sensor") == []


def test_a_plant_that_comes_back_says_which_of_its_sensors_is_not_known(planted):
    planted.add("sensors", "sensor\nL1\n")
    planted.add("plants", with_sensors(("T1", "L1"), ("T2", "L11"), ("T3", "L11")))
    assert planted.withdraw("plants", "plant\nT2\n").said == ["1 row of plants stopped counting."]
    assert planted.withdraw("plants", "plant\nT2\n", undo=True).said == [
        "1 row of plants came back.",
        "Sensor 'L11' of plant 'T2' has no record and no readings yet. Did you mean 'L1'?",
    ]


def test_dates_after_today_are_taken_in_and_said(planted):
    assert planted.add("scores", "plant,scored_on,grade\nT1,2032-02-10,3\nT2,2032-02-11,3\n", "s.csv").said == [
        "s.csv, column scored_on: 2 dates lie after today, 2026-11-25; the first is row 2, 2032-02-10."
    ]
    planted.add("freeze_notes", "from,to\n1850-01-01,2199-12-31\n")
    with open_store(planted.folder, planted.settings) as store:
        assert list(store.current("scores")["scored_on"]) == [dt.date(2032, 2, 10), dt.date(2032, 2, 11)]
        assert store.current("freeze_notes").loc[0, "to"] == dt.date(2199, 12, 31)


@pytest.mark.parametrize("prefix", ["", "abc", "xyz12345", "0" * 65])
def test_an_upload_is_named_by_four_or_more_hexadecimal_digits(planted, prefix):
    (text,) = problems(planted.store.withdraw_upload, prefix)
    assert "the first 4 or more characters of an upload's SHA-256" in text


def test_an_upload_that_is_not_there_or_not_the_only_one_is_refused(planted):
    taken = set(planted.store.uploads()["upload"].str[:4])
    free = next(f"{n:04x}" for n in range(0x10000) if f"{n:04x}" not in taken)
    assert "which no upload begins with" in problems(planted.store.withdraw_upload, free)[0]
    prefixes, number = {}, 0
    while True:  # two files whose hashes begin alike: some 300 tries
        text = f"selection\nX-{number}\n"
        prefix = hashlib.sha256(text.encode()).hexdigest()[:4]
        if prefix in prefixes:
            break
        prefixes[prefix], number = text, number + 1
    planted.add("selections", prefixes[prefix])
    planted.add("selections", text)
    (said,) = problems(planted.store.withdraw_upload, prefix)
    hashes = sorted(hashlib.sha256(each.encode()).hexdigest() for each in (prefixes[prefix], text))
    shown = ", ".join(sha256[:12] for sha256 in hashes)  # eight digits more than were given tell them apart
    assert f"which 2 uploads begin with ({shown})" in said


def test_every_act_is_in_the_history_with_old_and_new(planted):
    planted.add("scores", "plant,scored_on,grade,observer\nT1,2026-02-10,3,RM\n")
    second = planted.add("scores", "plant,scored_on,grade,observer\nT1,2026-02-10,4,RM\n", "b.csv")
    planted.withdraw("scores", "plant,scored_on,observer\nT1,2026-02-10,RM\n")
    planted.withdraw("scores", "plant,scored_on,observer\nT1,2026-02-10,RM\n", undo=True)
    planted.store.withdraw_upload(second.sha256)
    history = planted.store.history()
    assert str(history["at"].dtype) == "datetime64[ns, UTC]" and (history["who"] == "RM").all()
    rows = history[(history["table"] == "scores") & (history["key"] != "")]
    assert list(rows["action"]) == ["add", "update", "withdraw", "undo withdraw", "withdraw upload"]
    assert set(rows["key"]) == {"T1, 2026-02-10, RM"}
    update = rows.iloc[1]
    assert (json.loads(update["old"]), json.loads(update["new"])) == ({"grade": 3}, {"grade": 4})
    assert (update["upload"], update["file"]) == (second.sha256, "b.csv")
    assert rows.iloc[2]["new"] == "" and json.loads(rows.iloc[2]["old"])["grade"] == 4
    files = history[history["action"] == "add file"]
    assert json.loads(files["new"].iloc[-1]) == {"added": 0, "updated": 1, "unchanged": 0}


def test_who_acts_is_the_user_unless_the_environment_says_otherwise(tmp_path, settings, monkeypatch):
    monkeypatch.setenv("HARDINESS_WHO", " AK ")
    with open_store(tmp_path, settings) as store:
        assert store.who == "AK"
    monkeypatch.delenv("HARDINESS_WHO")
    monkeypatch.setenv("LOGNAME", "grower")
    with open_store(tmp_path, settings) as store:
        assert store.who == "grower"


def test_records_outlive_the_program(planted, settings):
    token = planted.store.state_token()
    planted.store.close()
    with open_store(planted.folder, settings) as store:
        assert list(store.current("plants")["plant"]) == ["T1", "T2", "T3"]
        assert store.state_token() == token


def test_the_state_token_tells_states_apart(planted, logger):
    tokens = [planted.store.state_token()]
    planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,3\n")
    tokens.append(planted.store.state_token())
    planted.add("scores", "plant,scored_on,grade\nT1,2026-02-10,4\n")
    tokens.append(planted.store.state_token())
    planted.add_readings(logger([-4.0, -5.0]))
    tokens.append(planted.store.state_token())
    assert len(set(tokens)) == 4 and all(len(token) == 64 for token in tokens)


def test_rows_keep_the_order_in_which_they_first_came(trial):
    trial.add("selections", "selection\nOL-09\nOL-01\n")
    trial.add("selections", "selection,notes\nOL-05,x\nOL-09,y\n")
    assert trial.column("selections", "selection") == ["OL-09", "OL-01", "OL-05"]


def test_rows_of_one_table_are_not_withdrawn_from_another(planted):
    records, _ = planted.parse("plants", "plant\nT1\n", keys_only=True)
    with pytest.raises(ValueError, match="rows of plants given for scores"):
        planted.store.withdraw("scores", records)


def test_withdrawing_a_long_file_and_undoing_it_reach_every_row(planted):
    long = "plant,selection,rootstock\n" + "".join(f"X{number},OL-07,own\n" for number in range(850))
    planted.add("plants", long)
    assert planted.withdraw("plants", long).count == 850
    assert planted.column("plants", "plant") == ["T1", "T2", "T3"]
    assert planted.withdraw("plants", long, undo=True).count == 850
    assert planted.column("plants", "plant") == ["T1", "T2", "T3", *(f"X{number}" for number in range(850))]


def test_a_withdrawn_row_leaves_a_row_of_the_same_name_in_another_table(planted):
    planted.add("selections", "selection\nL1\n")
    planted.add("sensors", "sensor\nL1\nOL-07\n")
    assert planted.withdraw("sensors", "sensor\nL1\nOL-07\n").count == 2
    assert planted.column("sensors", "sensor") == []
    assert planted.column("selections", "selection") == ["OL-07", "OL-08", "L1"]
    planted.withdraw("selections", "selection\nL1\n")
    planted.withdraw("sensors", "sensor\nL1\n", undo=True)
    assert planted.column("selections", "selection") == ["OL-07", "OL-08"]


def test_a_score_that_never_was_is_offered_one_of_the_same_plant(planted):
    """T2's date is nearer in letters; a score of another plant would be no help."""
    planted.add("scores", "plant,scored_on,grade\nT1,2026-05-21,2\nT2,2026-02-10,2\n")
    (said,) = problems(planted.withdraw, "scores", "plant,scored_on\nT1,2026-02-10\n")
    assert "2026-05-21" in said and "T2" not in said


def test_withdrawing_an_upload_counts_its_rows(planted):
    upload = planted.add("sensors", "sensor\nL1\nL2\nL3\n").sha256
    assert planted.store.withdraw_upload(upload).count == 3
    assert planted.store.withdraw_upload(upload).count == 0
    assert planted.store.withdraw_upload(upload, undo=True).count == 3
