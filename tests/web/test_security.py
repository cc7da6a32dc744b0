"""One test for each rule of the door: who comes in, what may be sent, and what the browser is told."""

import io
import re
import sqlite3
import zipfile

import openpyxl
import pytest

from hardiness.trial import open_trial
from hardiness.web.limits import FORM_BYTES, TRIES, WINDOW_S, Tries
from hardiness.web.sessions import COOKIE
from tests.web.hill import ADDRESS, PASSPHRASE, SELECTIONS, words_of

LAN = {"client": ("192.168.1.9", 40_000), "base": "http://192.168.1.7:8017", "host": "0.0.0.0"}


def held(folder, table):
    with open_trial(folder) as trial:
        return trial.store.current(table)


# What the browser is told


@pytest.mark.parametrize("path", ["/register", "/nothing", "/static/hardiness.css", "/takeaway/tables/plants.csv"])
def test_every_answer_says_what_may_run(shared, path):
    headers = shared.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy and "script-src 'self'" in policy and "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy and "http" not in policy
    assert headers["x-content-type-options"] == "nosniff"


def test_pages_are_not_kept_by_the_browser(shared):
    assert shared.get("/register").headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", ["/docs", "/redoc", "/openapi.json"])
def test_no_page_of_the_framework_is_there(shared, path):
    assert shared.get(path).status_code == 404


def test_a_fault_of_ours_has_the_headers_and_tells_no_secret(folder, serve, monkeypatch):
    browser = serve(folder)
    browser.client._transport.raise_server_exceptions = False
    monkeypatch.setattr("hardiness.web.register.layout_of", lambda _: 1 / 0)
    answer = browser.client.get("/register")
    assert answer.status_code == 500
    assert answer.text.startswith("A fault of ours: ZeroDivisionError.") and "Traceback" not in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]


# The Host header


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8017", "192.168.1.7:8017", "", "127.0.0.1.evil.example"]
)
def test_a_foreign_host_is_refused(shared, host):
    answer = shared.client.get("/register", headers={"host": host})
    assert answer.status_code == 400
    assert "does not go by that name" in answer.text and "OL-01" not in answer.text


@pytest.mark.parametrize("host", ["127.0.0.1:8017", "localhost:8017", "[::1]:8017"])
def test_our_own_names_are_taken(shared, host):
    assert shared.client.get("/register", headers={"host": host}).status_code == 200


# The token of a form

WRITES = {
    "/register/edit": {"table": "selections", "selection": "OL-03", "new": "yes"},
    "/register/withdraw": {"table": "selections", "key": "OL-01"},
    "/register/upload": {"upload": "0" * 64},
    "/readings/take": {},
    "/readings/files/0123456789012345678901/drop": {},
    "/readings/files/0123456789012345678901": {"sensor": "L1"},
    "/accounts": {"name": "Ana", "role": "owner", "passphrase": PASSPHRASE},
    "/accounts/withdraw": {"name": "Ana"},
    "/sign-in": {"name": "Ana", "passphrase": PASSPHRASE},
    "/sign-out": {},
}


def test_every_write_there_is_wants_the_token(shared):
    writes = [path for path, ways in shared.client.app.openapi()["paths"].items() if set(ways) - {"get"}]
    assert set(WRITES) <= {path.replace("{number}", "0123456789012345678901") for path in writes}
    for path in writes:
        address = re.sub(r"\{[^}]*\}", "0123456789012345678901", path)
        assert shared.client.post(address).status_code == 403, path
        assert shared.client.post(address, headers={"X-Token": "0" * 64}).status_code == 403, path


@pytest.mark.parametrize("path", WRITES)
@pytest.mark.parametrize("token", [None, "", "0" * 64, "é"])
def test_a_write_without_its_sessions_token_is_refused(shared, path, token):
    data = WRITES[path] | ({} if token is None else {"token": token})
    answer = shared.client.post(path, data=data)
    assert answer.status_code == 403
    assert "does not belong to this browser's session" in words_of(answer.text)
    trial = shared.client.app.state.place.trial
    assert set(trial.store.current("selections")["selection"]) == {"OL-01", "OL-02", "CK-A"}
    assert trial.store.accounts.all() == []


@pytest.mark.parametrize("path", ["/register/files", "/readings/files"])
def test_a_file_without_the_token_is_refused(shared, path):
    field = "files" if path.startswith("/readings") else "file"
    answer = shared.client.post(path, data={"table": "selections"}, files={field: ("a.csv", SELECTIONS)})
    assert answer.status_code == 403


def test_the_token_of_another_browser_is_none(folder, serve):
    browser = serve(folder)
    other = browser.token
    browser.client.cookies.clear()
    answer = browser.client.post("/register/edit", data={"token": other, **WRITES["/register/edit"]})
    assert answer.status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "http://evil.example"},
        {"origin": "null"},
    ],
)
def test_a_form_of_another_site_is_refused_even_with_the_token(shared, headers):
    answer = shared.post("/register/edit", WRITES["/register/edit"], headers=headers)
    assert answer.status_code == 403
    assert "OL-03" not in set(shared.client.app.state.place.trial.store.current("selections")["selection"])


def test_our_own_form_is_taken(browser, folder):
    answer = browser.post("/register/edit", WRITES["/register/edit"], headers={"origin": ADDRESS})
    assert answer.status_code == 200
    assert "OL-03" in set(held(folder, "selections")["selection"])


def test_no_page_that_is_only_looked_at_changes_anything(browser, folder):
    with open_trial(folder) as trial:
        before = trial.store.history().to_csv()
    paths = browser.client.app.openapi()["paths"].items()
    # The report is left out: writing it takes a minute.
    looked = [path for path, ways in paths if "get" in ways and "{" not in path and "report" not in path]
    assert len(looked) > 15
    for path in looked:
        browser.get(path)
    with open_trial(folder) as trial:
        assert trial.store.history().to_csv() == before


# The session


def test_the_cookie_is_for_this_server_alone(browser):
    cookie = browser.client.get("/register").headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=strict" in cookie and "Secure" not in cookie


def test_over_https_the_cookie_goes_nowhere_else(folder, serve):
    answer = serve(folder, secure=True, base="https://127.0.0.1:8017").client.get("/register")
    assert "Secure" in answer.headers["set-cookie"]
    assert "max-age" in answer.headers["strict-transport-security"]


def test_a_cookie_that_was_changed_is_no_session(peopled, serve):
    browser = serve(peopled)
    browser.sign_in("Eva")
    signed = browser.client.cookies[COOKIE]
    assert browser.client.get("/register").status_code == 200
    browser.client.cookies.clear()
    browser.client.cookies.set(COOKIE, signed[:-3] + ("AAA" if signed[-3:] != "AAA" else "BBB"))
    assert "Who is it?" in browser.client.get("/register").text


def test_signing_in_begins_a_new_session(peopled, serve):
    browser = serve(peopled)
    before = browser.token
    browser.sign_in("Ana")
    assert browser.token not in ("", before)


def test_signing_out_ends_it(peopled, serve):
    browser = serve(peopled)
    browser.sign_in("Ana")
    browser.post("/sign-out")
    assert "Who is it?" in browser.client.get("/register").text


def test_a_closed_account_is_out_at_once(peopled, serve):
    browser = serve(peopled)
    browser.sign_in("Eva")
    assert browser.client.get("/register").status_code == 200
    with open_trial(peopled) as trial:
        trial.store.accounts.withdraw("Eva")
    assert "Who is it?" in browser.client.get("/register").text


# Who comes in


def test_with_accounts_everyone_signs_in_also_at_this_computer(peopled, serve):
    assert "Who is it?" in serve(peopled).client.get("/").text


def test_without_accounts_nobody_comes_from_another_machine(folder, serve):
    browser = serve(folder, **LAN)
    for path in ("/", "/register", "/takeaway/archive.zip", "/accounts"):
        assert "Who is it?" in browser.client.get(path).text


def test_without_accounts_another_machine_is_no_owner_even_where_it_reaches_loopback(folder, serve):
    assert "Who is it?" in serve(folder, client=("192.168.1.9", 4)).client.get("/register").text


@pytest.mark.parametrize("name", ["Ana", "Nobody", "", "ana' OR '1'='1"])
def test_a_wrong_passphrase_and_an_unknown_name_get_the_same_answer(peopled, serve, name):
    answer = serve(peopled).sign_in(name or " ", "not the right passphrase")
    assert answer.status_code == 403
    assert "a name and a passphrase that do not belong together" in answer.text


def test_after_some_wrong_passphrases_the_next_try_must_wait(peopled, serve):
    browser = serve(peopled)
    for _ in range(TRIES):
        assert browser.sign_in("Ana", "not the right passphrase").status_code == 403
    refused = browser.sign_in("Ana")
    assert refused.status_code == 429 and int(refused.headers["retry-after"]) > 60
    assert browser.sign_in("Eva").status_code == 429  # the address waits, whatever the name


def test_tries_are_forgotten_with_time():
    now = [0.0]
    tries = Tries(clock=lambda: now[0])
    for _ in range(TRIES):
        tries.wrong("name ana", "address a")
    assert tries.wait_s("name ana") == pytest.approx(WINDOW_S)
    assert tries.wait_s("name eva", "address b") == 0
    now[0] = WINDOW_S + 1
    assert tries.wait_s("name ana") == 0


def test_a_right_passphrase_clears_the_name():
    tries = Tries(clock=lambda: 0.0)
    for _ in range(TRIES):
        tries.wrong("name ana")
    tries.right("name ana")
    assert tries.wait_s("name ana") == 0


# What a role may do


def test_a_viewer_looks_and_changes_nothing(peopled, serve):
    browser = serve(peopled)
    browser.sign_in("Eva")
    assert browser.client.get("/register").status_code == 200
    assert browser.post("/register/edit", WRITES["/register/edit"]).status_code == 403
    assert browser.post("/register/withdraw", WRITES["/register/withdraw"]).status_code == 403
    assert browser.post("/readings/take").status_code == 403
    for path in ("/takeaway/archive.zip", "/accounts", "/register/edit?table=plants", "/readings/files"):
        assert browser.client.get(path).status_code == 403


def test_a_scorer_adds_scores_and_readings_and_nothing_else(peopled, serve):
    browser = serve(peopled)
    browser.sign_in("Rui")
    score = {
        "table": "scores",
        "new": "yes",
        "plant": "T01",
        "scored_on": "2032-05-01",
        "grade": "2",
        "observer": "Rui",
    }
    assert browser.post("/register/edit", score).status_code == 200
    assert (held(peopled, "scores")["observer"] == "Rui").sum() == 1
    assert browser.client.get("/readings/files").status_code == 200
    assert browser.post("/register/edit", WRITES["/register/edit"]).status_code == 403
    assert browser.post("/register/upload", WRITES["/register/upload"]).status_code == 403
    assert browser.post("/accounts", WRITES["/accounts"]).status_code == 403


def test_the_last_owner_stays(peopled, serve):
    browser = serve(peopled)
    browser.sign_in("Ana")
    answer = browser.post("/accounts/withdraw", {"name": "Ana"})
    assert answer.status_code == 422 and "the only owner" in answer.text
    assert browser.post("/accounts", {"name": "Ana", "role": "viewer", "passphrase": PASSPHRASE}).status_code == 422


def test_every_write_says_who_and_when(peopled, serve):
    browser = serve(peopled)
    browser.sign_in("Ana")
    browser.post("/register/edit", WRITES["/register/edit"])
    with open_trial(peopled) as trial:
        act = trial.store.history().iloc[-1]
    assert act["who"] == "Ana" and (act["at"] - act["at"].now("UTC")).total_seconds() == pytest.approx(0, abs=120)


def test_the_first_account_is_an_owner_and_stays_signed_in(folder, serve):
    browser = serve(folder)
    short = browser.post("/accounts", {"name": "Ana", "role": "owner", "passphrase": "short"})
    assert short.status_code == 422 and "12 to 200 characters" in short.text
    viewer = browser.post("/accounts", {"name": "Eva", "role": "viewer", "passphrase": PASSPHRASE})
    assert viewer.status_code == 422 and "an owner" in viewer.text
    made = browser.post("/accounts", {"name": "Ana", "role": "owner", "passphrase": PASSPHRASE})
    assert made.status_code == 200 and "Ana, owner" in words_of(made.text)


def test_no_passphrase_is_kept_or_shown(peopled, serve):
    browser = serve(peopled)
    browser.sign_in("Ana")
    with open_trial(peopled) as trial:
        secrets = [one.secret for one in trial.store.accounts.all()]
    assert all(secret.startswith("$argon2id$") for secret in secrets)
    page = browser.client.get("/accounts").text
    assert "argon2" not in page and PASSPHRASE not in page


# What may be sent


def test_more_than_the_limit_is_refused_by_what_it_says_and_by_what_comes(folder, serve):
    browser = serve(folder, largest_upload=2_000_000)
    token = browser.token
    big = b"x" * (FORM_BYTES + 10)
    assert browser.client.post("/register/edit", data={"token": token, "notes": big.decode()}).status_code == 413

    def pieces():
        yield b"token=" + token.encode()
        for _ in range(30):
            yield b"&notes=" + b"x" * 100_000

    kind = {"content-type": "application/x-www-form-urlencoded"}
    told = browser.client.post("/register/edit", content=pieces(), headers=kind)
    assert told.status_code == 413 and "hardiness serve --largest-upload" in told.text
    files = {"files": ("big.csv", io.BytesIO(b"x" * 2_100_000))}
    assert browser.client.post("/readings/files", data={"token": token}, files=files).status_code == 413


@pytest.mark.parametrize("name", ["../../outside.csv", "/etc/passwd", "C:\\boot.ini", "a\x00b.csv", "..", "x" * 5000])
def test_no_path_is_made_from_a_files_name(browser, folder, tmp_path, name):
    before = {path.relative_to(tmp_path) for path in tmp_path.rglob("*")}
    browser.post("/readings/files", files={"files": (name, "Time,Air C\n2031-01-01 00:00,1.0\n")})
    holding = browser.client.app.state.place.holding
    kept = [path for path in holding.folder.iterdir()]
    assert all(path.name.isascii() and "." not in path.name for path in kept)
    assert {path.relative_to(tmp_path) for path in tmp_path.rglob("*") if "trial.db" not in path.name} <= before


@pytest.mark.parametrize("number", ["..%2F..%2Ftrial.db", "%2e%2e", "0123456789012345678901", "a/b", "x" * 59])
def test_a_file_is_asked_for_by_our_number_only(shared, number):
    assert shared.client.get(f"/readings/files/{number}").status_code in (404, 422)


def test_a_dropped_file_is_seen_by_its_own_session_only(browser):
    browser.post("/readings/files", files={"files": ("mine.csv", "Time,Air C\n2031-01-01 00:00,1.0\n")})
    (held_file,) = browser.client.app.state.place.holding._files.values()
    assert "mine.csv" in browser.client.get(f"/readings/files/{held_file.number}").text
    browser.client.cookies.clear()
    assert browser.client.get(f"/readings/files/{held_file.number}").status_code == 404
    assert "mine.csv" not in browser.client.get("/readings/files").text


def test_files_that_waited_are_gone_when_the_server_ends(folder, serve):
    browser = serve(folder)
    browser.post("/readings/files", files={"files": ("mine.csv", "Time,Air C\n")})
    holding = browser.client.app.state.place.holding.folder
    assert holding.is_dir()
    browser.client.app.state.place.close()
    assert not holding.exists()


@pytest.mark.parametrize("back", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)"])
def test_no_link_leads_away(browser, folder, back):
    with open_trial(folder) as trial:
        sha = trial.store.uploads()["upload"].iloc[-1]
    offered = browser.get("/register/upload", params={"upload": sha, "back": back}).text
    done = browser.post("/register/upload", {"upload": sha, "why": "the wrong walk", "back": back}).text
    assert "Withdraw it" in offered and "<h1>Done</h1>" in done
    assert not any(bad in text for bad in ("evil", "javascript:") for text in (offered, done))


# What is taken away

EVIL = ("=1+1", "+1", "-cmd", "@SUM(A1)", "=HYPERLINK(1)")


def test_no_csv_holds_a_formula(browser, folder):
    with open_trial(folder) as trial:
        trial.add_rows("selections", [{"selection": "OL-09", "notes": "=1+1", "claim_source": "@me"}])
        for number, text in enumerate(EVIL):
            trial.add_rows("selections", [{"selection": f"OL-{number + 20}", "notes": text}])
    text = browser.get("/takeaway/tables/selections.csv").text
    for evil in EVIL:
        assert f",{evil}" not in text and f"'{evil}" in text
    assert "'@me" in text


def test_no_workbook_holds_a_formula(browser, folder):
    with open_trial(folder) as trial:
        trial.add_rows("selections", [{"selection": "OL-09", "notes": "=1+1"}])
    book = openpyxl.load_workbook(io.BytesIO(browser.get("/takeaway/tables/selections.xlsx").content))
    cells = [cell for row in book["selections"].iter_rows() for cell in row if cell.value is not None]
    assert "=1+1" in [cell.value for cell in cells]
    assert {cell.data_type for cell in cells} == {"s"}


def test_the_archive_is_a_trial_without_its_accounts(peopled, serve, tmp_path):
    browser = serve(peopled)
    browser.sign_in("Ana")
    content = browser.client.get("/takeaway/archive.zip").content
    copy = tmp_path / "copy"
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert all(not name.startswith(("/", "..")) for name in archive.namelist())
        archive.extractall(copy)
    assert b"argon2" not in (copy / "trial.db").read_bytes()
    with open_trial(copy) as trial, open_trial(peopled) as own:
        assert trial.store.state_token() == own.store.state_token()
        assert trial.store.accounts.all() == []
        assert trial.store.faults() == []


def test_a_downloaded_name_is_plain(shared):
    header = shared.get("/takeaway/tables/plants.csv").headers["content-disposition"]
    assert header == "attachment; filename*=UTF-8''hill-dale-plants.csv"


# The log beside the database


def journal(folder):
    connection = sqlite3.connect(folder / "trial.db")
    try:
        return connection.execute("PRAGMA journal_mode").fetchone()[0]
    finally:
        connection.close()


def test_a_write_ahead_log_is_kept_while_serving_only(folder, serve):
    assert journal(folder) == "delete"
    browser = serve(folder)
    assert journal(folder) == "wal"
    browser.post("/register/edit", WRITES["/register/edit"])
    browser.client.app.state.place.close()
    assert journal(folder) == "delete"
    assert {path.name for path in folder.iterdir()} == {"trial.db", "trial.toml", "uploads", "readings"}
    assert "OL-03" in set(held(folder, "selections")["selection"])


def test_the_command_line_works_beside_the_server(folder, serve):
    browser = serve(folder)
    with open_trial(folder) as trial:
        trial.add_rows("selections", [{"selection": "OL-04"}])
    assert "OL-04" in browser.page("/register?table=selections")
    assert journal(folder) == "wal"


def test_a_log_left_by_a_server_that_was_killed_is_folded_in(folder):
    connection = sqlite3.connect(folder / "trial.db")
    connection.execute("PRAGMA journal_mode=WAL")
    connection.close()
    assert journal(folder) == "wal"
    held(folder, "plants")
    assert journal(folder) == "delete"
