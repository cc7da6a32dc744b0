"""Files that wait: seen by their owner only, not for ever, and not without bounds."""

import io

from hardiness.web.holding import MOST_FILES, WAITS_S, Holding


def test_a_file_lies_under_a_number_of_ours_and_keeps_its_bytes():
    holding = Holding()
    held = holding.put(io.BytesIO(b"abc"), "../L1.csv", "one")
    assert held.path.parent == holding.folder and held.path.read_bytes() == b"abc"
    assert held.name == "L1.csv" and "L1" not in held.path.name
    assert holding.find(held.number, "one") == held
    assert holding.find(held.number, "two") is None and holding.find("../x", "one") is None
    holding.close()
    assert not holding.folder.exists()


def test_a_file_that_nobody_takes_in_goes_after_a_day():
    now = [0.0]
    holding = Holding(clock=lambda: now[0])
    old = holding.put(io.BytesIO(b"a"), "a", "one")
    now[0] = WAITS_S + 1
    new = holding.put(io.BytesIO(b"b"), "b", "two")
    assert holding.find(old.number, "one") is None and not old.path.exists() and new.path.exists()
    holding.close()


def test_of_too_many_files_the_oldest_go_and_others_keep_theirs():
    holding = Holding()
    other = holding.put(io.BytesIO(b"x"), "x", "two")
    first, *_ = [holding.put(io.BytesIO(b"a"), "a", "one") for _ in range(MOST_FILES + 1)]
    assert len(holding.of("one")) == MOST_FILES and not first.path.exists()
    assert holding.of("two") == [other]
    holding.close()


def test_of_too_many_bytes_the_oldest_go_and_the_newest_stays():
    holding = Holding(most_bytes=10)
    first, second, third = (holding.put(io.BytesIO(b"1234"), name, "one") for name in "abc")
    assert holding.of("one") == [second, third] and not first.path.exists()
    large = holding.put(io.BytesIO(b"x" * 50), "d", "one")
    assert holding.of("one") == [large]
    holding.close()
