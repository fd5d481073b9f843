"""`sorbwatch people`: what an owner does on the page, from the board's own console, without sign-in."""

import time
from contextlib import closing

import pytest
from support.sign_in import CHEAP, PASSWORD

from monitor.cli import main
from monitor.commands.people import ACTIONS
from monitor.model.batch import Batch
from monitor.service.engine import Engine
from monitor.service.sessions import Sessions, Where
from monitor.store.files import ServiceLock
from monitor.store.reader import Reader
from monitor.store.store import Store


@pytest.fixture
def url(tmp_path):
    with closing(Store(tmp_path / "site.db", "lab")) as store:
        store.apply(Batch(counters={"readings": 7}, newest_ms=5))
    return f"sqlite:///{tmp_path}/site.db"


@pytest.fixture
def say(url, capsys):
    def run(*arguments):
        code = main(["people", *arguments, "--database", url])
        said = capsys.readouterr()
        return code, said.out.strip(), said.err.strip()

    return run


def redeem(tmp_path, code, name=""):
    """What the page does with a code."""
    path = tmp_path / "site.db"
    with closing(Store(path, "lab")) as store, closing(Reader(path, "lab")) as reader:
        engine = Engine("lab", store.load())

        def ask(act):
            answer = act(engine)
            store.apply(engine.take_batch())
            return answer

        sessions = Sessions(reader, ask, now_s=time.time, pace_s=lambda: 0.0, cost=CHEAP)
        return sessions.redeem(code, name, PASSWORD, Where(address="192.0.2.1", device="Phone")).name


def test_the_console_makes_the_first_owner_and_the_rest_follows(tmp_path, say):
    """List, code, invite, sign out, remove: enough to get back in whatever was lost."""
    assert "Nobody yet" in say("list")[1]
    assert redeem(tmp_path, say("code")[1], "Mara") == "Mara"
    assert say("code")[0] == 1
    assert redeem(tmp_path, say("invite", "Ilse", "--role", "look")[1]) == "Ilse"
    assert say("list")[1].splitlines() == ["Ilse: look; signed in: Phone", "Mara: owner; signed in: Phone"]
    assert say("sign-out", "ILSE")[0] == 0
    assert say("list")[1].splitlines()[0] == "Ilse: look"
    assert redeem(tmp_path, say("code", "mara")[1]) == "Mara"
    assert say("remove", "Ilse")[0] == 0
    assert say("remove", "Mara") == (
        1,
        "",
        "sorbwatch: Mara is the only owner: make somebody else an owner first.",
    )


def test_it_works_while_the_service_runs_and_leaves_its_counters_alone(tmp_path, say):
    """Whoever is locked out must not need to stop what watches the boxes."""
    path = tmp_path / "site.db"
    with ServiceLock(path), closing(Store(path, "lab")) as service, closing(Reader(path, "lab")) as reader:
        say("code")
        service.apply(Batch(counters={"readings": 9}, newest_ms=6))
        code, out, _ = say("invite", "Ilse")
        assert (code, len(out)) == (0, 14)
        assert reader.counters()["readings"] == 9
        assert [(act.person, act.what, act.on_what) for act in reader.acts()] == [
            ("console", "invited", "Ilse"),
            ("console", "made a code", ""),
        ]


@pytest.mark.parametrize("action", [action for action in ACTIONS if action not in ("list", "code")])
def test_whom_it_is_about_must_be_said_and_be_there(say, action):
    """One line, exit code 2: used wrongly."""
    code, _, error = say(action)
    assert (code, error) == (2, f"sorbwatch: people {action} needs the NAME of the person")
    if action != "invite":
        code, _, error = say(action, "Eve")
        assert (code, error) == (2, "sorbwatch: name 'Eve' is nobody here; there is nobody")


def test_without_a_database_it_says_so(tmp_path, capsys):
    """Nothing is made by the way."""
    assert main(["people", "list", "--database", f"sqlite:///{tmp_path}/none.db"]) == 2
    assert "there is no database" in capsys.readouterr().err
    assert not (tmp_path / "none.db").exists()
