"""The catalogue as this site has it: its settings' figures and those set on a page laid over it."""

import threading
from collections.abc import Sequence

from monitor.library import Library
from monitor.library.own_figures import site_library
from monitor.model.catalogue import OwnFigure
from monitor.ports import ReadStore
from monitor.service.limits import Limits


class SiteCatalogue:
    """Worked out anew only after somebody set a figure. Safe from any thread."""

    def __init__(self, store: ReadStore, settings_figures: Sequence[OwnFigure]) -> None:
        self._store = store
        self._settings_figures = settings_figures
        self._lock = threading.Lock()
        self._stored: tuple[OwnFigure, ...] | None = None
        self._library: Library
        self._limits: Limits

    def library(self) -> Library:
        self._bring_up()
        return self._library

    def limits(self) -> Limits:
        self._bring_up()
        return self._limits

    def _bring_up(self) -> None:
        with self._lock:
            stored = self._store.own_figures()
            if stored != self._stored:
                self._library = site_library(self._settings_figures, stored)
                self._limits = Limits(self._library.materials)
                self._stored = stored
