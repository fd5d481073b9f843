"""Who may come in: invited, changed and sent away, each in the log under the name of who did it."""

import pytest
from support.sign_in import ADDRESS, PASSWORD, gate

from monitor.errors import BadInputError, FieldError, RefusedError
from monitor.model.catalogue import OwnFigure
from monitor.model.people import Act, Role
from monitor.model.spool_event import Opened
from monitor.service.people import PEOPLE_MAX
from monitor.service.sessions import Where


@pytest.fixture
def site(tmp_path):
    with gate(tmp_path) as made:
        made.make_owner()
        yield made


def test_roles_cover_those_before_them():
    """Look, do, owner: each may what the one before may."""
    assert [[role.covers(needed) for needed in Role] for role in Role] == [
        [True, False, False],
        [True, True, False],
        [True, True, True],
    ]


def test_each_act_stands_in_the_log_with_its_person(site):
    """Every act with who did it, to whom, newest first."""
    site.add("Ilse", Role.LOOK)
    number = site.number("Ilse")
    site.people.set_role("Mara", number, Role.DO)
    site.people.new_code("console", number)
    site.people.sign_out("Mara", number)
    site.people.remove("Mara", number)
    assert site.acts() == [
        ("Mara", "removed", "Ilse"),
        ("Mara", "signed out a device", "Ilse"),
        ("console", "made a code", "Ilse"),
        ("Mara", "set a role", "Ilse"),
        ("Ilse", "set a password", ""),
        ("Mara", "invited", "Ilse"),
        ("Mara", "set a password", ""),
    ]


def test_what_happens_to_spools_and_figures_stands_in_the_log_too(site):
    """In the same transaction as the record that it tells of."""
    site.site.tell(Opened())
    site.site.changes.set_figure(
        OwnFigure(material="petg", figure="dry_c", value=55.0, who="mara", why="data sheet", at_s=None)
    )
    newest = site.site.reader.acts(2)
    at_ms = round(site.site.now * 1000)
    assert newest == (
        Act(at_ms=at_ms, person="mara", what="set a figure", on_what="petg", detail="dry_c = 55"),
        Act(at_ms=at_ms, person="mara", what="opened", on_what="grey", detail="record 1"),
    )


def test_what_is_refused_leaves_no_act(site):
    """The log tells what was done."""
    before = site.acts()
    with pytest.raises(BadInputError):
        site.site.tell(Opened(), spool="none")
    with pytest.raises(BadInputError):
        site.people.invite("Mara", "MARA", Role.DO)
    assert site.acts() == before


@pytest.mark.parametrize("name", ["Mara", " mára".replace("á", "a"), "ＭＡＲＡ"])
def test_a_name_that_is_taken_is_not_given_twice(site, name):
    """Two people of one name would be one in the log."""
    with pytest.raises(BadInputError, match="taken"):
        site.people.invite("Mara", name, Role.DO)


@pytest.mark.parametrize("name", ["", "x" * 10_000, "console", "a\x1bb"])
def test_a_name_that_cannot_be_is_refused(site, name):
    """Overlong, empty, the console's, or with what a terminal obeys."""
    with pytest.raises(FieldError):
        site.people.invite("Mara", name, Role.DO)


def test_the_last_owner_cannot_go_or_be_made_less(site):
    """Somebody must be able to let others in; one who was only invited cannot yet."""
    mara = site.number("Mara")
    site.people.invite("Mara", "Ilse", Role.OWNER)
    for act in (
        lambda: site.people.remove("Mara", mara),
        lambda: site.people.set_role("Mara", mara, Role.DO),
    ):
        with pytest.raises(RefusedError, match="only owner"):
            act()
    site.add("Jon", Role.OWNER)
    site.people.set_role("Mara", mara, Role.DO)
    site.people.remove("Mara", mara)
    assert [person.name for person in site.people.roster().people] == ["Ilse", "Jon"]


def test_there_is_no_code_for_a_first_owner_once_there_is_one(site):
    """Nobody becomes the owner behind the owner's back."""
    with pytest.raises(RefusedError, match="There is an owner already"):
        site.people.new_code("console", None)


def test_who_was_removed_is_out_at_once_and_cannot_come_back(site):
    """Session, code and password go with the person."""
    token = site.add("Ilse")
    code = site.people.new_code("Mara", site.number("Ilse"))
    site.people.remove("Mara", site.number("Ilse"))
    assert site.sessions.find(token) is None
    with pytest.raises(RefusedError):
        site.sessions.redeem(code, "Ilse", PASSWORD, Where(address="198.51.100.1"))
    with pytest.raises(RefusedError):
        site.sessions.sign_in("Ilse", PASSWORD, Where(address="198.51.100.2"))
    with pytest.raises(BadInputError, match="not here any more"):
        site.people.new_code("Mara", 999)


def test_devices_are_signed_out_one_by_one_or_all_but_this(site):
    """Revocable per person and per device; another person's stay."""
    ilse = site.add("Ilse")
    tokens = [site.sessions.sign_in("Ilse", PASSWORD, Where(address=ADDRESS)).token for _ in range(3)]
    number, mine = site.number("Ilse"), site.sessions.find(ilse)
    site.people.sign_out("Ilse", number, session=site.sessions.find(tokens[0]).number)
    assert site.sessions.find(tokens[0]) is None
    site.people.sign_out("Ilse", number, but=mine.number)
    assert [site.sessions.find(token) for token in tokens] == [None, None, None]
    assert site.sessions.find(ilse) is not None
    mara = next(each for each in site.people.roster().sessions if each.person.name == "Mara")
    before = site.acts()
    site.people.sign_out("Ilse", number, session=mara.number)  # a session that is not that person's
    assert mara in site.people.roster().sessions
    assert site.acts() == before


def test_there_are_not_endless_people(site):
    """A bound where a person could fill the card."""
    for number in range(PEOPLE_MAX - 1):
        site.people.invite("Mara", f"p{number}", Role.LOOK)
    with pytest.raises(RefusedError, match="remove somebody first"):
        site.people.invite("Mara", "one more", Role.LOOK)
