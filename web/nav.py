"""Which pages the header leads to: those that this program has."""

from flask import Flask

_PAGES = (
    ("spools.show_all", "Spools"),
    ("ovens.show_all", "Ovens"),
    ("materials.show_all", "Materials"),
    ("what_if.show", "What if"),
    ("bags.show", "Bags"),
    ("glance.health", "Monitor"),
)


def register(app: Flask) -> None:
    """Gives the templates `pages()`: pairs of endpoint and words."""

    def pages() -> list[tuple[str, str]]:
        return [(endpoint, words) for endpoint, words in _PAGES if endpoint in app.view_functions]

    app.jinja_env.globals["pages"] = pages
