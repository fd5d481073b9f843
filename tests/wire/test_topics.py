"""Topics are the contract's, and a key that may not be never gets through."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import BadInputError, BadMessageError
from monitor.wire import topics

# The contract's table of topics, typed again.
TABLE = {
    "sorbwatch/lab/node/n1/senml": topics.NodeSenml(site="lab", node="n1"),
    "sorbwatch/lab/node/n1/online": topics.NodeOnline(site="lab", node="n1"),
    "sorbwatch/lab/oven/o-1/state": topics.OvenState(site="lab", oven="o-1"),
    "sorbwatch/lab/oven/o-1/online": topics.OvenOnline(site="lab", oven="o-1"),
    "sorbwatch/lab/oven/o-1/permit": topics.OvenPermit(site="lab", oven="o-1"),
    "sorbwatch/lab/oven/o-1/stop": topics.OvenStop(site="lab", oven="o-1"),
    "sorbwatch/lab/oven/o-1/reset": topics.OvenReset(site="lab", oven="o-1"),
    "sorbwatch/lab/box/b_2/summary": topics.BoxSummary(site="lab", box="b_2"),
    "sorbwatch/lab/alarm/b_2-humidity_high": topics.AlarmState(site="lab", alarm="b_2-humidity_high"),
    "sorbwatch/lab/monitor/online": topics.MonitorOnline(site="lab"),
}


@pytest.mark.parametrize("name", TABLE)
def test_every_topic_of_the_contract_is_read_and_built(name):
    """C-01."""
    assert topics.parse(name) == TABLE[name]
    assert topics.build(TABLE[name]) == name


@pytest.mark.parametrize(
    "name",
    [
        "node/n1",
        "node/n1/senml/x",
        "node/n1/config",
        "oven/o1/x/state",
        "box/b1/senml",
        "monitor/x",
        "x",
        "alarm/a/b",
    ],
)
def test_what_this_version_does_not_know_is_told_apart_from_what_is_wrong(name):
    """A newer node may publish more; that is no fault of it."""
    found = topics.parse(f"sorbwatch/lab/{name}")
    assert found == topics.Other(site="lab", rest=name)
    assert topics.build(found) == f"sorbwatch/lab/{name}"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("", "does not begin"),
        ("sorbwatch", "does not begin"),
        ("sorbwatch/lab", "does not begin"),
        ("/sorbwatch/lab/node/n1/senml", "does not begin"),
        ("other/lab/node/n1/senml", "does not begin"),
        ("sorbwatch/Lab/node/n1/senml", "site"),
        ("sorbwatch//node/n1/senml", "site"),
        ("sorbwatch/lab/node/N1/senml", "node"),
        ("sorbwatch/lab/node//senml", "node"),
        ("sorbwatch/lab/node/+/senml", "node"),
        ("sorbwatch/lab/node/-a/senml", "node"),
        ("sorbwatch/lab/node/a\n/senml", "node"),
        ("sorbwatch/lab/oven/" + "a" * 64 + "/state", "oven"),
        ("sorbwatch/lab/" + "a" * 300, "longer"),
    ],
)
def test_a_bad_topic_is_refused_with_one_line(name, says):
    """Keys end up in the database, in pages and in other topics."""
    with pytest.raises(BadMessageError, match=says) as caught:
        topics.parse(name)
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    "topic",
    [
        topics.NodeSenml(site="lab", node="a/b"),
        topics.MonitorOnline(site="#"),
        topics.BoxSummary(site="l", box=""),
    ],
)
def test_a_bad_key_is_never_published_to(topic):
    """A key with a level or wildcard in it would reach another's topic."""
    with pytest.raises(BadInputError, match="is not a key"):
        topics.build(topic)


@given(st.text(alphabet="abz/+#-_09A\n", max_size=40))
def test_any_topic_is_read_or_refused(rest):
    """And what was read is built the same."""
    try:
        found = topics.parse(f"sorbwatch/{rest}")
    except BadMessageError:
        return
    assert topics.build(found) == f"sorbwatch/{rest}"
