"""What-if questions as the tests ask them."""

from monitor.library import load_library
from monitor.model.what_if import AirSpan, Question, steady_air

LIBRARY = load_library()


def ask(key, *, rh=50.0, temperature=23.0, hours=24.0, reel="unknown", air=None, **more):
    """A question about a material of the catalogue; `more` goes to Question."""
    steady = steady_air(humidity_pct=rh, temperature_c=temperature, hours=hours)
    return Question(
        material=LIBRARY.material(key), reel=LIBRARY.reel(reel), air=steady if air is None else air, **more
    )


def hourly(figures):
    """A course of hours from pairs of humidity and temperature; None where nothing was measured."""
    return tuple(
        AirSpan(
            hours=1.0,
            humidity_pct=None if pair is None else pair[0],
            temperature_c=None if pair is None else pair[1],
        )
        for pair in figures
    )
