"""Signing in: codes work once, sessions end, guessing is slow, and the answer tells nothing."""

import pytest
from support.sign_in import ADDRESS, DAY_S, OTHER, PASSWORD, gate

from monitor.errors import FieldError, StoreError
from monitor.model.people import Role
from monitor.service import passwords
from monitor.service.brake import LONGEST_WAIT_S, SLOTS
from monitor.service.sessions import (
    CODE_LIFE_S,
    KNOWN_PAIRS,
    SEEN_EVERY_S,
    WRONG,
    Limits,
    SignInRefusedError,
    Where,
)

HOME = Where(address=ADDRESS, device="Phone at home")
ELSEWHERE = Where(address="198.51.100.9", device="Program elsewhere")


@pytest.fixture
def site(tmp_path):
    with gate(tmp_path) as made:
        yield made


def refusal(act):
    with pytest.raises(SignInRefusedError) as caught:
        act()
    return caught.value


def test_the_first_owner_comes_with_the_code_of_the_console(site):
    """Whoever reads the console owns the board; nobody else becomes its owner."""
    code = site.sessions.first_code()
    assert not site.sessions.has_owner()
    begun = site.sessions.redeem(code.lower().replace("-", " "), " Mara  van Dorp ", PASSWORD, HOME)
    session = site.sessions.find(begun.token)
    assert (session.person.name, session.person.role, session.device) == (
        "Mara van Dorp",
        "owner",
        "Phone at home",
    )
    assert site.sessions.has_owner()
    assert site.sessions.first_code() is None
    assert site.acts() == [("Mara van Dorp", "set a password", "")]


def test_a_code_works_once(site):
    """Replayed from the console's log or the browser's history it does nothing."""
    code = site.sessions.first_code()
    site.sessions.redeem(code, "Mara", PASSWORD, HOME)
    invited = site.people.invite("Mara", "Ilse", Role.DO)
    site.sessions.redeem(invited, "", PASSWORD, HOME)
    for used in (code, invited):
        assert "code does not work" in str(
            refusal(lambda used=used: site.sessions.redeem(used, "Eve", OTHER, HOME))
        )
    assert [person.name for person in site.people.roster().people] == ["Ilse", "Mara"]


def test_of_two_with_the_same_code_at_once_one_comes_in(site):
    """The second is refused where the first one's use is written, however close they are."""
    code, names, ask = site.sessions.first_code(), [], site.ask

    def somebody_is_faster(act):
        site.ask = ask
        names.append(site.sessions.redeem(code, "Mara", PASSWORD, HOME).name)
        return ask(act)

    site.ask = somebody_is_faster
    refusal(lambda: site.sessions.redeem(code, "Eve", OTHER, ELSEWHERE))
    assert names == ["Mara"]
    assert [person.name for person in site.people.roster().people] == ["Mara"]
    assert len(site.people.roster().sessions) == 1


def test_a_code_ends_after_two_days_and_a_new_one_ends_the_old(site):
    """A slip of paper must not be a key for ever."""
    first = site.sessions.first_code()
    second = site.sessions.first_code()
    refusal(lambda: site.sessions.redeem(first, "Mara", PASSWORD, HOME))
    site.now_s += CODE_LIFE_S + 1.0
    refusal(lambda: site.sessions.redeem(second, "Mara", PASSWORD, HOME))
    third = site.sessions.first_code()
    assert site.sessions.redeem(third, "Mara", PASSWORD, HOME).name == "Mara"


def test_a_bad_password_does_not_use_the_code_up(site):
    """Who mistypes the rule must not need to walk to the board again."""
    code = site.sessions.first_code()
    for name, password in (("Mara", "short"), ("", PASSWORD), ("Mara", "maramaramara")):
        with pytest.raises(FieldError):
            site.sessions.redeem(code, name, password, HOME)
    assert site.sessions.redeem(code, "Mara", PASSWORD, HOME).name == "Mara"


def test_a_code_for_a_person_ends_all_their_sessions_and_the_old_password_holds_until_then(site):
    """For who forgot it, and for who lost the phone; making the code alone keeps nobody out."""
    old = site.make_owner()
    code = site.people.new_code("console", site.number("Mara"))
    assert site.sessions.sign_in("Mara", PASSWORD, HOME).name == "Mara"
    new = site.sessions.redeem(code, "", OTHER, HOME).token
    assert site.sessions.find(old) is None
    assert site.sessions.find(new).person.name == "Mara"
    refusal(lambda: site.sessions.sign_in("Mara", PASSWORD, HOME))
    assert site.sessions.sign_in("Mara", OTHER, HOME).name == "Mara"


def test_any_spelling_of_the_name_signs_in_under_the_one_name(site):
    """Phones write capitals by themselves."""
    site.make_owner("Mára Ko")
    for typed in ("mára ko", " MÁRA  KO ", "Ma\u0301ra Ko"):
        assert site.sessions.sign_in(typed, PASSWORD, HOME).name == "Mára Ko"


@pytest.mark.parametrize(
    "name", ["Nobody", "Ilse", "Mara", "x" * 100_000, "\ud800", "a\x00b", "'; DROP TABLE person; --", ""]
)
def test_the_answer_and_its_price_are_the_same_whether_or_not_there_is_such_a_name(site, name, monkeypatch):
    """Unknown, invited but not come, or with a wrong password: one sentence, one password computed."""
    site.make_owner()
    site.people.invite("Mara", "Ilse", Role.DO)
    computed = []
    real = passwords._scrypt
    monkeypatch.setattr(
        passwords, "_scrypt", lambda password, salt, cost: computed.append(cost) or real(password, salt, cost)
    )
    error = refusal(lambda: site.sessions.sign_in(name, "y" * 1_000_000, HOME))
    assert (str(error), error.wait_s) == (WRONG, 0.0)
    assert len(computed) == 1
    assert computed[0] == site.sessions._cost


def test_waits_are_the_same_for_a_name_that_is_not_there(site):
    """Else the brake would tell what the answer does not."""
    site.make_owner()

    def waits(name, network):
        found = []
        for number in range(8):
            where = Where(address=f"{network}.{number}")
            found.append(refusal(lambda where=where: site.sessions.sign_in(name, OTHER, where)).wait_s)
        return found

    assert waits("Mara", "198.51.100") == waits("Nobody", "203.0.113")


def test_guessing_costs_waits_and_the_right_password_in_a_wait_is_not_tried(site, monkeypatch):
    """What is refused for its number of tries is not computed: a flood costs us nothing."""
    site.make_owner()
    for _ in range(5):
        refusal(lambda: site.sessions.sign_in("Ilse", OTHER, ELSEWHERE))
    monkeypatch.setattr(passwords, "_scrypt", lambda *_: pytest.fail("computed"))
    error = refusal(lambda: site.sessions.sign_in("Mara", PASSWORD, ELSEWHERE))
    assert error.wait_s > 0.0
    assert "Wait 2 s" in str(error)


def test_a_stranger_who_guesses_all_day_does_not_keep_the_owner_out(site):
    """Never locked out: where she signed in before she does so at once; elsewhere she waits minutes; a code is instant."""
    site.make_owner()
    site.sessions.sign_in("Mara", PASSWORD, HOME)
    tried = 0
    for second in range(0, 86_400, 30):
        site.pace_s = float(second)
        wait_s = refusal(lambda: site.sessions.sign_in("Mara", OTHER, ELSEWHERE)).wait_s
        tried += wait_s == 0.0
    assert tried < 300  # of 2880
    assert site.sessions.sign_in("Mara", PASSWORD, HOME).name == "Mara"
    fresh = Where(address="203.0.113.5")
    error = refusal(lambda: site.sessions.sign_in("Mara", PASSWORD, fresh))
    assert 0.0 < error.wait_s <= LONGEST_WAIT_S
    code = site.people.new_code("console", site.number("Mara"))
    assert site.sessions.redeem(code, "", OTHER, fresh).name == "Mara"
    site.pace_s += LONGEST_WAIT_S
    assert site.sessions.sign_in("Mara", OTHER, Where(address="203.0.113.6")).name == "Mara"


def test_ten_thousand_tries_leave_a_bounded_memory(site):
    """Names and addresses are the attacker's choice; what we keep of them is not."""
    site.make_owner()
    for number in range(10_000):
        where = Where(address=f"10.{number >> 16}.{number >> 8 & 255}.{number & 255}", token=f"{number}")
        refusal(lambda number=number, where=where: site.sessions.sign_in(f"n{number}", OTHER, where))
    assert site.sessions._brake.held() <= SLOTS
    assert site.sessions._inner_brake.held() == 0
    assert len(site.sessions._pairs) <= KNOWN_PAIRS
    assert site.acts() == [("Mara", "set a password", "")]  # nor does the card fill up
    assert site.sessions.sign_in("Mara", PASSWORD, HOME).name == "Mara"


def test_after_a_flood_the_board_itself_and_known_devices_are_as_quick_as_ever(site):
    """Strangers can make strangers wait, for minutes; whoever sits at the board, or was in before, does not."""
    site.make_owner()
    code = site.people.new_code("console", site.number("Mara"))
    for number in range(20_000):
        wait_s = site.sessions._brake.begin([f"name {number}", f"address {number}"], site.pace_s)
        assert wait_s <= LONGEST_WAIT_S
    board = Where(address="127.0.0.1", device="Computer", is_here=True)
    assert site.sessions.sign_in("Mara", PASSWORD, HOME).name == "Mara"
    assert site.sessions.sign_in("Mara", PASSWORD, board).name == "Mara"
    assert site.sessions.redeem(code, "", OTHER, board).name == "Mara"


def test_at_the_board_and_from_known_devices_guessing_is_slow_too(site):
    """Known is not trusted."""
    site.make_owner()
    board = Where(address="127.0.0.1", is_here=True)
    for where in (HOME, board):
        errors = [refusal(lambda where=where: site.sessions.sign_in("Mara", OTHER, where)) for _ in range(6)]
        assert [error.wait_s > 0.0 for error in errors] == [False] * 5 + [True]


def test_codes_are_guessed_as_slowly_as_passwords(site):
    """Sixty bits at a few hundred tries a day."""
    site.sessions.first_code()
    errors = [
        refusal(lambda: site.sessions.redeem("0000-0000-0000", "Eve", OTHER, ELSEWHERE)) for _ in range(6)
    ]
    assert [error.wait_s > 0.0 for error in errors] == [False] * 5 + [True]


def test_a_session_is_never_one_that_was_brought_along(site):
    """Session fixation: what a stranger planted is not what the person signs in with."""
    planted = site.make_owner()
    ilse = site.add("Ilse")
    begun = site.sessions.sign_in("Ilse", PASSWORD, Where(address=ADDRESS, token=planted))
    assert begun.token not in (planted, ilse)
    assert site.sessions.find(planted) is None
    made_up = "A" * 43
    assert site.sessions.sign_in("Ilse", PASSWORD, Where(address=ADDRESS, token=made_up)).token != made_up
    assert site.sessions.find(made_up) is None


def test_only_hashes_of_secrets_are_in_the_database(site):
    """A stolen backup signs nobody in."""
    token = site.make_owner()
    code = site.people.invite("Mara", "Ilse", Role.DO)
    dump = "\n".join(site.site.store._db.iterdump())
    for secret in (token, code, code.replace("-", ""), PASSWORD):
        assert secret not in dump
        assert secret.encode().hex() not in dump.lower()


def test_a_session_ends_unused_and_ends_in_any_case(site):
    """Idle and absolute expiry."""
    token = site.make_owner()
    site.now_s += 13.9 * DAY_S
    assert site.sessions.find(token) is not None  # and that counts as use
    site.now_s += 13.9 * DAY_S
    assert site.sessions.find(token) is not None
    site.now_s += 14.0 * DAY_S
    assert site.sessions.find(token) is None
    token = site.sessions.sign_in("Mara", PASSWORD, HOME).token
    for _ in range(18):
        site.now_s += 4.99 * DAY_S
        site.pace_s += 4.99 * DAY_S
        assert site.sessions.find(token) is not None
    site.now_s += 0.5 * DAY_S
    assert site.sessions.find(token) is None


def test_a_clock_that_goes_back_ends_no_session(site):
    """A board without a battery clock starts in the past."""
    token = site.make_owner()
    site.now_s -= 400 * DAY_S
    assert site.sessions.find(token) is not None


def test_the_settings_say_how_long(tmp_path):
    """session_idle_days and session_days."""
    with gate(tmp_path, limits=Limits(idle_days=1, most_days=2)) as site:
        token = site.make_owner()
        site.now_s += 1.01 * DAY_S
        assert site.sessions.find(token) is None


def test_the_last_use_is_written_now_and_then_and_keeps_nobody_out(site):
    """Kinder to the card; and a database that is busy is no reason to be signed out."""
    token = site.make_owner()
    asked, ask = [], site.ask

    def fails(act):
        asked.append(act)
        raise StoreError("busy")

    site.ask = fails
    for _ in range(50):
        site.now_s += 10.0
        site.pace_s += 10.0
        assert site.sessions.find(token) is not None
    assert asked == []
    site.now_s, site.pace_s = site.now_s + SEEN_EVERY_S, site.pace_s + SEEN_EVERY_S
    for _ in range(50):
        assert site.sessions.find(token) is not None
    assert len(asked) == 1
    site.ask = ask
    site.pace_s += SEEN_EVERY_S
    site.sessions.find(token)
    assert site.people.roster().sessions[0].seen_ms == round(site.now_s * 1000)


def test_worn_out_sessions_are_swept_when_somebody_signs_in(site):
    """What nobody can use any more takes no room."""
    site.make_owner()
    site.now_s += 30 * DAY_S
    site.sessions.sign_in("Mara", PASSWORD, HOME)
    assert len(site.site.reader.sessions()) == 1


def test_signing_out_ends_this_session_alone(site):
    """The other phone stays."""
    one, two = site.make_owner(), site.sessions.sign_in("Mara", PASSWORD, HOME).token
    site.sessions.end(site.sessions.find(one))
    assert site.sessions.find(one) is None
    assert site.sessions.find(two) is not None


def test_a_new_password_ends_every_other_session_and_needs_the_old_one(site):
    """Whoever finds an unlocked phone must not keep its owner out."""
    other, mine = site.make_owner(), site.sessions.sign_in("Mara", PASSWORD, HOME).token
    session = site.sessions.find(mine)
    assert "another one" in str(refusal(lambda: site.sessions.change_password(session, OTHER, OTHER, HOME)))
    with pytest.raises(FieldError):
        site.sessions.change_password(session, PASSWORD, "short", HOME)
    site.sessions.change_password(session, PASSWORD, OTHER, HOME)
    assert site.sessions.find(other) is None
    assert site.sessions.find(mine) is not None
    assert site.sessions.sign_in("Mara", OTHER, HOME)
    refusal(lambda: site.sessions.sign_in("Mara", PASSWORD, HOME))


def test_the_current_password_is_guessed_slowly_too(site):
    """A stolen session must not become a stolen password."""
    session = site.sessions.find(site.make_owner())
    errors = [
        refusal(lambda: site.sessions.change_password(session, "not that one", OTHER, HOME)) for _ in range(6)
    ]
    assert errors[-1].wait_s > 0.0


def test_a_password_changed_while_the_old_one_is_tried_wins(site):
    """No session may begin on a password that holds no longer."""
    session = site.sessions.find(site.make_owner())
    ask = site.ask

    def changed_first(act):
        site.ask = ask
        site.sessions.change_password(session, PASSWORD, OTHER, HOME)
        return ask(act)

    site.ask = changed_first
    assert str(refusal(lambda: site.sessions.sign_in("Mara", PASSWORD, ELSEWHERE))) == WRONG
    assert [each.device for each in site.people.roster().sessions] == ["Device"]


def test_passwords_are_computed_one_at_a_time_and_a_crowd_is_sent_away(site):
    """32 MiB each: a crowd of phones must not take the board's memory, nor every thread of the pages."""
    site.make_owner()
    held = [site.sessions._waiting.acquire(blocking=False) for _ in range(5)]
    assert all(held)
    error = refusal(lambda: site.sessions.sign_in("Mara", PASSWORD, HOME))
    assert error.wait_s > 0.0
    assert "signing in just now" in str(error)
    for _ in held:
        site.sessions._waiting.release()
    assert site.sessions.sign_in("Mara", PASSWORD, HOME)
