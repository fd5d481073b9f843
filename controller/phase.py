"""The names of B-18, from what is so; whatever fits no row is idle, and idle means no heat."""


def phase_of(
    *,
    is_tripped: bool,
    is_permitted: bool,
    is_held: bool,
    is_checked: bool,
    is_reached: bool,
    is_held_by_door: bool,
    is_warm: bool,
    is_armed: bool,
    has_run: bool,
) -> str:
    """The first row that fits."""
    rows = (
        (is_tripped, "tripped"),
        (is_permitted and not is_checked, "preheat_check"),
        (is_permitted and is_held, "hold"),
        (is_permitted and is_reached, "drying"),
        (is_permitted, "heating"),
        (is_held_by_door, "hold"),
        (is_warm, "cooling"),
        (is_armed, "armed"),
        (has_run, "done"),
    )
    for is_so, name in rows:
        if is_so:
            return name
    return "idle"
