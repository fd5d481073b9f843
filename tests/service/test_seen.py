"""Packs are told apart by their sequence number, whatever order they come in."""

from hypothesis import given
from hypothesis import strategies as st

from monitor.service.seen import SeenPacks


@given(st.lists(st.integers(0, 60), max_size=80))
def test_ranges_hold_exactly_what_was_added(seqs):
    """C-03: duplicates and reordering must not make a pack look new, or a new pack look old."""
    seen, truth = SeenPacks(), set()
    for seq in seqs:
        assert (seq in seen) == (seq in truth)
        if seq not in seen:
            seen.add(seq)
            truth.add(seq)
    covered = {seq for first, last in seen.ranges() for seq in range(first, last + 1)}
    assert covered == truth
    assert all(a[1] + 1 < b[0] for a, b in zip(seen.ranges(), seen.ranges()[1:], strict=False))
    assert SeenPacks(seen.ranges()).ranges() == seen.ranges()


def test_a_node_that_loses_nothing_costs_one_range():
    """The store rewrites the ranges of a node with each commit, so they must stay few."""
    seen = SeenPacks()
    for seq in range(1000):
        seen.add(seq)
    assert seen.ranges() == [(0, 999)]
