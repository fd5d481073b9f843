"""The command line: exit codes, one-line errors, and what each command does."""

import json
import re
import time

import pytest
from support.packs import pack
from support.processes import Program, free_port, get, get_json, run
from support.waiting import wait_for

pytestmark = pytest.mark.whole

INVENTORY = """
[[room]]
key = "hall"
name = "Hall"
[[box]]
key = "b1"
name = "Box 1"
room = "hall"
volume_l = 10
channel = "n1/b1"
"""


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        ([], 2, "COMMAND"),
        (["fly"], 2, "fly"),
        (["demo", "--speed", "0"], 2, "0.1 to 5000"),
        (["demo", "--port", "70000"], 2, "65535"),
        (["status", "--database", "mysql://x"], 2, "sqlite:///"),
        (["status", "--database", "sqlite:////nowhere/x.db"], 2, "no database"),
        (["status", "--settings", "/nowhere.toml"], 2, "cannot read settings"),
        (["inventory", "load", "/nowhere.toml", "--database", "sqlite:////tmp/none/x.db"], 2, "cannot read"),
        (["inventory", "load"], 2, "needs the FILE"),
        (["what-if", "--material", "pla", "--rh", "nan", "--hours", "5"], 2, "allowed are 0 to 100 %RH"),
        (["what-if", "--material", "pla", "--rh", "5", "--hours", "inf"], 2, "allowed are 0.01 to 20000 h"),
        (["what-if", "--material", "pla", "--rh", "wet", "--hours", "5"], 2, "--rh: 'wet' is not a number"),
        (["replay", "/nowhere.jsonl", "--database", "sqlite:////tmp/x.db"], 2, "nowhere.jsonl"),
        (["restore", "/nowhere.db", "--database", "sqlite:////tmp/x.db"], 2, "no backup"),
        (["backup", "/tmp/b.db", "--database", "sqlite:////nowhere/x.db"], 2, "no database"),
        (["account", "../x", "--database", "sqlite:////tmp/none-of-it.db"], 1, "no key"),
    ],
)
def test_wrong_use_is_one_line_that_says_what_and_where(arguments, code, said):
    """Exit 2 = wrong usage, 1 = refused; never a traceback."""
    got, out, error = run(*arguments)
    assert got == code
    assert said in error
    assert error.count("\n") == 1
    assert out == ""


@pytest.fixture
def database(tmp_path):
    (tmp_path / "inventory.toml").write_text(INVENTORY)
    url = f"sqlite:///{tmp_path}/a.db"
    assert run("inventory", "load", tmp_path / "inventory.toml", "--database", url)[0] == 0
    lines = []
    for seq in range(20):
        at_s = 1_795_000_000 + 60 * seq
        line = {
            "at": at_s + 0.5,
            "topic": "sorbwatch/lab/node/n1/senml",
            "retain": False,
            "payload": json.loads(pack(seq, at_s, 10 + seq)),
        }
        lines.append(json.dumps(line))
    (tmp_path / "capture.jsonl").write_text("\n".join(lines) + "\n")
    return url


def test_a_capture_fed_twice_changes_nothing_and_status_is_of_its_newest_record(database, tmp_path):
    """Replay is idempotent, takes the capture's site where none was named, and --at looks back."""
    for _ in range(2):
        code, _, said = run("replay", tmp_path / "capture.jsonl", "--database", database)
        assert code == 0, said
    answer = json.loads(run("status", "--json", "--database", database)[1])
    assert answer["site"] == "lab"
    assert answer["at"] == "2026-11-18T11:25:40.500Z"
    box = answer["boxes"][0]
    assert (box["humidity_pct"], box["age_s"], box["stale"]) == (29.0, 0.5, False)
    assert box["tightness"]["air_changes_per_h"]["p50"] is None
    assert box["tightness"]["air_changes_per_h"]["why"]
    before = json.loads(run("status", "--json", "--database", database, "--at", "2026-11-18T11:16:30Z")[1])
    assert (before["boxes"][0]["humidity_pct"], before["boxes"][0]["age_s"]) == (19.0, 50.0)
    said = run("status", "--database", database)[1]
    assert "Box 1: 29.0 %RH" in said


def test_a_bad_line_of_a_capture_is_named_and_the_others_are_taken(database, tmp_path):
    """Exit 1: a finding; nothing else is disturbed."""
    good = (tmp_path / "capture.jsonl").read_text().splitlines()
    (tmp_path / "bad.jsonl").write_text("\n".join([good[0], "{rubbish", '{"at": 1}', *good[1:]]))
    code, _, error = run("replay", tmp_path / "bad.jsonl", "--database", database)
    assert code == 1
    assert "line 2" in error
    assert "line 3" in error
    assert "40 readings stored" in error


def test_backup_and_restore_bring_back_what_was(database, tmp_path):
    """A copy made with one command is put back with one, and what it replaces is kept."""
    run("replay", tmp_path / "capture.jsonl", "--database", database)
    before = run("status", "--json", "--database", database)[1]
    assert run("backup", tmp_path / "copy.db", "--database", database)[0] == 0
    (tmp_path / "more.toml").write_text('[[room]]\nkey = "attic"\nname = "Attic"')
    assert run("inventory", "load", tmp_path / "more.toml", "--database", database)[0] == 0
    assert run("status", "--json", "--database", database)[1] != before
    code, _, said = run("restore", tmp_path / "copy.db", "--database", database)
    assert code == 0
    assert "kept at" in said
    # All but the log's end: that it was brought back is a line of the log.
    kept, after = json.loads(before), json.loads(run("status", "--json", "--database", database)[1])
    log_heads = [answer["health"].pop("log_head") for answer in (kept, after)]
    assert after == kept
    assert log_heads[0] != log_heads[1]


def test_an_inventory_dumped_is_the_inventory_loaded(database, tmp_path):
    """What was taken out can be put into another database."""
    dumped = run("inventory", "dump", "--database", database)[1]
    (tmp_path / "dumped.toml").write_text(dumped)
    other = f"sqlite:///{tmp_path}/b.db"
    assert run("inventory", "load", tmp_path / "dumped.toml", "--database", other)[0] == 0
    assert run("inventory", "dump", "--database", other)[1] == dumped


def test_check_tells_what_is_wrong(database):
    """A self-test for the person who installs: each thing with its state, exit 1 when one is bad."""
    code, out, _ = run("check", "--json", "--database", database)
    answer = json.loads(out)
    assert {row["what"] for row in answer["findings"]} == {
        "settings",
        "database",
        "log",
        "broker",
        "sensors",
        "clock",
    }
    assert code == (0 if answer["ok"] else 1)
    assert next(row for row in answer["findings"] if row["what"] == "database")["ok"]


def test_check_finds_a_damaged_database(database, tmp_path):
    """One flipped page is found, and the way back is said."""
    path = tmp_path / "a.db"
    content = bytearray(path.read_bytes())
    content[8192:12288] = bytes(4096)
    path.write_bytes(bytes(content))
    code, out, error = run("check", "--database", database)
    assert code == 1
    assert "restore" in out + error


@pytest.mark.broker
def test_the_demo_shows_a_month_and_then_lives(tmp_path):
    """The main job on one command: page first, history in seconds, then readings at the chosen pace."""
    port = free_port()
    program = Program(
        "demo", "--port", port, "--days", "3", "--speed", "60", "--database", f"sqlite:///{tmp_path}/demo.db"
    )
    try:
        assert program.line() == f"sorbwatch is at http://127.0.0.1:{port}\n"
        base = f"http://127.0.0.1:{port}"
        assert get(base + "/")[0] == 200
        wait_for(
            lambda: get_json(base + "/api/v1/status")["health"]["history_share"] is None, 60, "the history"
        )
        status = wait_for(lambda: _live(get_json(base + "/api/v1/status")), 30, "live readings")
        assert (len(status["rooms"]), len(status["boxes"]), len(status["spools"]), len(status["ovens"])) == (
            2,
            10,
            18,
            2,
        )
        newest = status["health"]["newest_reading"]
        wait_for(
            lambda: get_json(base + "/api/v1/status")["health"]["newest_reading"] > newest,
            20,
            "the next reading",
        )
        now_s = time.time()
        points = get_json(
            f"{base}/api/v1/series/wren/humidity?from={now_s - 2 * 86400}&to={now_s}&span=3600"
        )["points"]
        assert sum(point["mean"] is not None for point in points) >= 45
    finally:
        program.stop()


def _live(status):
    """Sixty times as fast an oven is stale within a third of a second: a busy machine may miss one look."""
    fresh = [box for box in status["boxes"] if box["freshness"] == "fresh"]
    spoken = all(oven["freshness"] in ("fresh", "late") for oven in status["ovens"])
    return status if len(fresh) >= 8 and spoken else None


@pytest.mark.broker
def test_on_another_address_changing_needs_sign_in_and_the_console_gives_the_first_code(tmp_path):
    """Anyone may look, the QR code takes the phone there; whoever reads the console becomes the owner."""
    port = free_port()
    program = Program(
        "demo",
        "--listen",
        "127.0.0.2",
        "--port",
        port,
        "--days",
        "0",
        "--database",
        f"sqlite:///{tmp_path}/demo.db",
    )
    try:
        assert program.line() == f"sorbwatch is at http://127.0.0.2:{port}\n"
        assert "Who changes something signs in" in program.line()
        lines = [program.line()]
        while "one-time code" not in lines[-1]:
            lines.append(program.line())
        assert any(block in "".join(lines) for block in "▀▄█")
        code = re.search(r"one-time code ([0-9A-Z-]{14}) ", lines[-1])[1]
        assert get(f"http://127.0.0.2:{port}/")[0] == 200
        import urllib.request

        request = urllib.request.Request(f"http://127.0.0.2:{port}/", data=b"x", method="POST")
        with pytest.raises(urllib.error.HTTPError) as caught:
            urllib.request.urlopen(request, timeout=5)
        assert caught.value.code == 403
        caught.value.close()
        assert _become_owner(f"http://127.0.0.2:{port}", code) == f"http://127.0.0.2:{port}/people?new=yes"
    finally:
        program.stop()


def _become_owner(url, code):
    """What the phone's form sends, at the real price of a password; returns where it leads."""
    import urllib.parse
    import urllib.request
    from http.cookiejar import CookieJar

    word = "seven dry spools"
    form = urllib.parse.urlencode({"code": code, "name": "Mara", "password": word, "again": word}).encode()
    request = urllib.request.Request(f"{url}/sign-in/code", data=form, headers={"Origin": url})
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
    with browser.open(request, timeout=10) as response:
        assert "You are signed in." in response.read().decode()
        return response.url


@pytest.mark.broker
@pytest.mark.parametrize("address", ["nonsense..host", "10.99.99.99"])
def test_an_address_that_is_not_ours_is_refused_in_one_line(tmp_path, address):
    """Whoever mistypes the phone's address sees which option it was."""
    database = f"sqlite:///{tmp_path}/demo.db"
    code, _, error = run(
        "demo", "--days", "0", "--listen", address, "--port", free_port(), "--database", database
    )
    assert code == 1
    assert "--listen" in error
    assert error.count("\n") == 1


def test_what_if_gives_the_members_of_the_contract_and_needs_no_database():
    """The command for advising somebody at the counter."""
    code, out, _ = run(
        "what-if", "--material", "pla", "--rh", 50, "--hours", 30, "--start-pct", 0.04, "--json"
    )
    answer = json.loads(out)
    assert code == 0
    assert set(answer) >= {
        "moisture_pct",
        "outer_pct",
        "equilibrium_pct",
        "limit_pct",
        "over_limit_after_h",
        "curve",
    }
    assert set(answer["curve"][0]) == {"h", "mean_pct", "outer_pct", "inner_pct"}
    assert answer["equilibrium_pct"] == 0.4
    code, _, error = run("what-if", "--material", "plaa", "--rh", 50, "--hours", 30)
    assert code == 2
    assert "near it: pla" in error


def test_check_names_broker_settings_that_lose_readings(database, tmp_path):
    """Report 7: a queue limit of 0 or 1,000 drops messages without a word; the self-test says so."""
    folder = tmp_path / "a-broker"
    folder.mkdir()
    (folder / "mosquitto.conf").write_text("persistence true\nallow_anonymous false\nmax_queued_messages 0\n")
    code, out, _ = run("check", "--database", database)
    assert code == 1
    assert "max_queued_messages is 0" in out
