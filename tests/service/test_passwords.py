"""Passwords are long, kept memory-hard, and compared without telling; codes forgive how they are typed."""

import hashlib
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.sign_in import CHEAP, PASSWORD

from monitor.errors import FieldError
from monitor.service import passwords
from monitor.service.passwords import Cost, check_name, check_password, code_digest, fits, keep, token_digest


def test_scrypt_is_the_one_of_the_standard():
    """RFC 7914, section 12: P "password", S "NaCl", N 1024, r 8, p 16."""
    found = passwords._scrypt("password", b"NaCl", Cost(n=1024, r=8, p=16))
    assert found.hex().startswith("fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162")


def test_a_kept_password_costs_32_mib_a_try_and_says_how():
    """OWASP and RFC 7914: memory 128 n r; a board of 512 MB can give 32 MiB to one try."""
    cost = Cost()
    assert 128 * cost.n * cost.r == 32 << 20
    kept = keep(PASSWORD, cost)
    assert re.fullmatch(r"scrypt\$n=32768,r=8,p=1\$[A-Za-z0-9+/]{22}==\$[A-Za-z0-9+/]{43}=", kept)
    assert fits(PASSWORD, kept)
    assert not fits(PASSWORD + " ", kept)


def test_the_same_password_is_kept_differently_each_time():
    """A salt: equal passwords do not show, and no table made beforehand helps."""
    assert keep(PASSWORD, CHEAP) != keep(PASSWORD, CHEAP)


def test_a_kept_text_with_other_parameters_goes_on_fitting():
    """So the price may rise with the boards."""
    assert fits(PASSWORD, keep(PASSWORD, Cost(n=32, r=2, p=3)))


def test_nobodys_password_is_tried_at_the_same_price_and_never_fits():
    """Else the time would tell whether there is such a name."""
    nobody = passwords.of_nobody(Cost())
    assert nobody.split("$")[:2] == keep("x", Cost()).split("$")[:2]
    assert not fits(PASSWORD, passwords.of_nobody(CHEAP))


@pytest.mark.parametrize(
    ("password", "said"),
    [
        ("", "12 to 200"),
        ("short words", "12 to 200"),
        ("x" * 201, "12 to 200"),
        ("zzzzzzzzzzzzzz", "again and again"),
        ("Mara van Dorp", "must not be the name"),
        ("MARAVANDORPMARAVANDORP", "must not be the name"),
    ],
)
def test_a_password_that_a_stranger_would_try_is_refused_with_the_rule(password, said):
    """Length, not composition (NIST SP 800-63B 5.1.1.2)."""
    with pytest.raises(FieldError, match=said):
        check_password(password, "Mara van Dorp")


@pytest.mark.parametrize(
    "password",
    [PASSWORD, "aaaaaaaaaaab", "mara van dorp dries it", "длинные слова", "🧵🧵🧵🧵🧵🧵🧵🧵🧵🧵🧵🌧"],
)
def test_any_other_long_password_is_taken(password):
    """No rules of composition: they make worse passwords."""
    check_password(password, "Mara van Dorp")
    assert fits(password, keep(password, CHEAP))


def test_a_password_is_the_same_from_every_keyboard():
    """One composes an umlaut, another sends it whole."""
    assert fits("trockene Fa\u0308den hier", keep("trockene F\u00e4den hier", CHEAP))


@pytest.mark.parametrize(
    "name", ["", "   ", "x" * 41, "a\u200bb", "a\x00b", "a\u202eb", "—", "Console", "ｃｏｎｓｏｌｅ"]
)
def test_a_name_that_cannot_be_read_in_the_log_is_refused(name):
    """Hidden signs, none at all, or the console's own."""
    with pytest.raises(FieldError):
        check_name(name)


def test_a_code_works_however_it_is_typed_off_a_screen():
    """Sixty bits read aloud: lower case, spaces, and O for 0 are the same code."""
    code = "0A1B-2C3D-4E5F"
    assert {code_digest(typed) for typed in (code, "oa1b2c3d4e5f", " OAlB 2c3d-4E5F ", "0AIB-2C3D4E5F")} == {
        hashlib.sha256(b"code 0A1B2C3D4E5F").digest()
    }


@given(typed=st.text(max_size=300))
def test_any_text_is_a_code_or_none_and_never_a_fault(typed):
    """A door must not fall in whatever is thrown at it."""
    digest = code_digest(typed)
    assert digest is None or len(digest) == 32
    assert token_digest(typed) is None or len(typed) == 43


def test_codes_and_tokens_are_not_guessed():
    """60 bits under a brake and for two days; 256 bits for a session."""
    codes = {passwords.new_code() for _ in range(1_000)}
    assert len(codes) == 1_000
    assert all(re.fullmatch(r"([0-9A-HJKMNP-TV-Z]{4}-){2}[0-9A-HJKMNP-TV-Z]{4}", code) for code in codes)
    tokens = {passwords.new_token() for _ in range(1_000)}
    assert len(tokens) == 1_000
    assert all(token_digest(token) for token in tokens)
