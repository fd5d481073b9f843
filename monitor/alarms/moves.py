"""Every state times every event: what is shown then, and what is refused. A test walks all of it."""

from enum import StrEnum

from monitor.alarms.state import Shown


class Seen(StrEnum):
    """What happens, in the words of the printed table."""

    HOLDS = "it holds, delays are over"
    CLEARS = "it holds no more, delays are over"
    UNKNOWN = "it cannot be told"
    ACK = "acknowledged"
    ACK_OLD = "acknowledged, another activation"
    SHELVE = "shelved"
    UNSHELVE = "unshelved"
    SILENCE = "silenced"
    OUT = "taken out of service"
    RETURN = "returned to service"
    RESET = "reset asked"
    TICK = "time passes"
    HIDE = "hidden by a rule"
    LIFT = "the rule's cause is gone"
    RESTART = "program restarts"


_N, _U, _A, _R, _L = Shown.NORM, Shown.UNACK, Shown.ACKED, Shown.RTNUN, Shown.LATCHD
_S, _D, _O = Shown.SHLVD, Shown.DSUPR, Shown.OOSRV
_VISIBLE = frozenset({_N, _U, _A, _R, _L})
_BENEATH_SHELF = _VISIBLE | {_D}
_ANY = frozenset(Shown)
REFUSED: frozenset[Shown] = frozenset()


def _stays(shown: Shown) -> dict[Seen, frozenset[Shown]]:
    """What every state has in common, unless its own row says otherwise."""
    here = frozenset({shown})
    return {
        **dict.fromkeys(Seen, here),
        Seen.ACK_OLD: REFUSED,
        Seen.SHELVE: frozenset({_S}),
        Seen.UNSHELVE: REFUSED,
        Seen.OUT: frozenset({_O}),
        Seen.RETURN: REFUSED,
        Seen.RESET: REFUSED,
        Seen.HIDE: frozenset({_D}),
    }


# Where a field names several states, what is so beneath decides. An empty one is refused, nothing changed.
MOVES: dict[Shown, dict[Seen, frozenset[Shown]]] = {
    _N: _stays(_N) | {Seen.HOLDS: frozenset({_U})},
    # What nobody was told of, and is over, needs nobody to say that it was seen.
    _U: _stays(_U) | {Seen.CLEARS: frozenset({_R, _N, _L}), Seen.ACK: frozenset({_A})},
    _A: _stays(_A)
    | {
        Seen.CLEARS: frozenset({_N, _L}),
        Seen.HOLDS: frozenset({_A, _U}),  # a worse limit
        Seen.TICK: frozenset({_A, _U}),  # told again
    },
    _R: _stays(_R) | {Seen.HOLDS: frozenset({_U}), Seen.ACK: frozenset({_N, _L})},
    _L: _stays(_L) | {Seen.HOLDS: frozenset({_U}), Seen.RESET: frozenset({_N})},
    _S: _stays(_S)
    | {
        Seen.SHELVE: REFUSED,  # shelf upon shelf would be for ever
        Seen.UNSHELVE: _BENEATH_SHELF,
        Seen.CLEARS: frozenset({_N, _R, _L, _D, _S}),  # one-shot
        Seen.TICK: _BENEATH_SHELF | {_S},
        Seen.HIDE: frozenset({_S}),
    },
    _D: _stays(_D) | {Seen.LIFT: _VISIBLE, Seen.TICK: _VISIBLE | {_D}},  # its longest time
    _O: _stays(_O)
    | {
        Seen.SHELVE: REFUSED,
        Seen.UNSHELVE: frozenset({_O}),  # where it is on the shelf, too: always allowed
        Seen.OUT: REFUSED,
        Seen.RETURN: _ANY - {_O},
        Seen.HIDE: frozenset({_O}),
    },
}
# Of what is a matter of safety nothing is ever hidden, by nobody.
REFUSED_OF_SAFETY = (Seen.SHELVE, Seen.OUT, Seen.HIDE)


def words(allowed: frozenset[Shown]) -> str:
    """A field of the table as text."""
    return " or ".join(shown for shown in Shown if shown in allowed) or "refused"
