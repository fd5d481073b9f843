"""The settings file is strict: a mistake is named before anything starts."""

from pathlib import Path

import pytest

from monitor.errors import BadSettingsError
from monitor.settings import Settings, load_settings

SAMPLE = Path(__file__).resolve().parents[1] / "deploy" / "settings.sample.toml"


def test_no_file_means_the_defaults():
    """The demo and a first start need no settings."""
    assert load_settings(None) == Settings()


def test_the_sample_holds_the_defaults_it_claims():
    """A sample that lies about a default is worse than none."""
    sample, default = load_settings(SAMPLE), Settings()
    assert sample.site == "home"
    assert (sample.broker, sample.web, sample.store, sample.node, sample.zone) == (
        default.broker,
        default.web,
        default.store,
        default.node,
        default.zone,
    )


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("sitte = 'a'", "sitte"),
        ("site = 'Has Space'", "site"),
        ("zone = 'Mars/Olympus'", "Mars/Olympus"),
        ("[web]\nport = 70000", "port"),
        ("[store]\ncommit_every_s = 0", "commit_every_s"),
        ("[broker]\nkind = 'magic'", "kind"),
        ("[broker]\nkind = 'external'\nport = 0", "broker.port"),
        ("[node]\nchannels = { air = 10 }", "channels"),
        ("site = ", "TOML"),
        ("[web]\nport = 'x'", "port"),
    ],
)
def test_a_mistake_is_said_in_one_line_that_names_it(tmp_path, text, named):
    """Whoever installs sees which line to mend."""
    path = tmp_path / "settings.toml"
    path.write_text(text)
    with pytest.raises(BadSettingsError) as caught:
        load_settings(path)
    said = str(caught.value)
    assert str(path) in said
    assert "\n" not in said
    assert named in said or named == "TOML"


def test_a_missing_file_is_said(tmp_path):
    """A wrong path must not silently become the defaults."""
    with pytest.raises(BadSettingsError, match="cannot read"):
        load_settings(tmp_path / "none.toml")
