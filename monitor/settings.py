"""The settings file: the only place that reads settings, strict about every name and bound."""

import zoneinfo
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import msgspec

from monitor.errors import BadSettingsError
from monitor.model.catalogue import OwnFigure

KEY_PATTERN = r"^[a-z0-9][a-z0-9_-]{0,62}$"
Key = Annotated[str, msgspec.Meta(pattern=KEY_PATTERN)]
Port = Annotated[int, msgspec.Meta(ge=0, le=65535)]


class _Strict(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A misspelt name in the settings must be an error, not a default."""


class BrokerSettings(_Strict, frozen=True):
    """Which broker carries the readings."""

    kind: Annotated[str, msgspec.Meta(pattern="^(own|external)$")] = "own"
    # own: where our mosquitto listens; external: where the broker is.
    host: str = "127.0.0.1"
    port: Port = 1883
    folder: str | None = None  # own: its files; default beside the database
    user: str | None = None
    password_file: str | None = None
    tls: bool = False  # external: speak TLS
    ca_file: str | None = None
    cert_file: str | None = None
    key_file: str | None = None
    protocol: Annotated[str, msgspec.Meta(pattern=r"^(auto|5|3\.1\.1)$")] = "auto"


class WebSettings(_Strict, frozen=True):
    """Where the pages are served, and who may look; on loopback sign-in begins with the first owner."""

    host: str = "127.0.0.1"
    port: Port = 8484
    pages_open_to_look: bool = True  # false: even looking needs sign-in
    session_idle_days: Annotated[int, msgspec.Meta(ge=1, le=365)] = 14
    session_days: Annotated[int, msgspec.Meta(ge=1, le=365)] = 90
    # told to the push services of browsers, so that they can reach whoever sends too much
    push_contact: Annotated[str, msgspec.Meta(max_length=200, pattern=r"^((mailto:|https://)[!-~]+)?$")] = ""


class StoreSettings(_Strict, frozen=True):
    """How often the card is written and how long readings are kept."""

    commit_every_s: Annotated[float, msgspec.Meta(gt=0, le=60)] = 10.0
    raw_days: Annotated[int, msgspec.Meta(ge=1, le=3650)] = 30
    five_minute_days: Annotated[int, msgspec.Meta(ge=1, le=3650)] = 180
    hour_days: Annotated[int, msgspec.Meta(ge=1, le=36500)] = 1830


class OvenSettings(_Strict, frozen=True):
    """How long an oven may go on heating when nothing is heard of us any more."""

    lease_s: Annotated[float, msgspec.Meta(ge=2, le=60)] = 30.0


class NodeSettings(_Strict, frozen=True):
    """The sensors of this very board, for `sorbwatch node`."""

    key: Key = "board"
    bus: Annotated[int, msgspec.Meta(ge=0, le=255)] = 1
    sample_s: Annotated[float, msgspec.Meta(ge=2, le=3600)] = 60.0
    # channel name -> address of the sensor, e.g. {"inside" = 0x44}
    channels: dict[Key, Annotated[int, msgspec.Meta(ge=0x44, le=0x46)]] = msgspec.field(
        default_factory=lambda: {"air": 0x44}
    )


class FigureSettings(_Strict, frozen=True):
    """The site's own value for one figure of one material; the catalogue knows names and ranges."""

    material: str
    figure: str
    value: float
    who: str
    why: str


class Settings(_Strict, frozen=True):
    """All settings; every one has a default, so that no file is needed to begin."""

    site: Key | None = None  # None: the database's own site, else "home"
    zone: str = "UTC"  # IANA name of the site's time zone
    database: str = "sqlite:///sorbwatch.db"
    broker: BrokerSettings = BrokerSettings()
    web: WebSettings = WebSettings()
    store: StoreSettings = StoreSettings()
    node: NodeSettings = NodeSettings()
    ovens: OvenSettings = OvenSettings()
    figure: tuple[FigureSettings, ...] = ()

    def own_figures(self) -> tuple[OwnFigure, ...]:
        """What the site knows better than the catalogue; `monitor.library.own_figures` checks it."""
        return tuple(
            OwnFigure(
                material=row.material,
                figure=row.figure,
                value=row.value,
                who=row.who,
                why=row.why,
                at_s=None,
            )
            for row in self.figure
        )

    def with_database(self, url: str) -> "Settings":
        """The same, on another database."""
        return msgspec.structs.replace(self, database=url)

    def for_demo(self, site: str, database: str, figures: Sequence[OwnFigure]) -> "Settings":
        """The same for a demonstration: its own site and figures, its own broker on any free port here."""
        broker = BrokerSettings(kind="own", host="127.0.0.1", port=0)
        own = tuple(
            FigureSettings(material=f.material, figure=f.figure, value=f.value, who=f.who, why=f.why)
            for f in figures
            if f.value is not None
        )
        return msgspec.structs.replace(self, site=site, database=database, broker=broker, figure=own)


def load_settings(path: Path | None) -> Settings:
    """The settings of a TOML file, or the defaults without one; BadSettingsError in one sentence."""
    if path is None:
        return Settings()
    try:
        text = path.read_bytes()
    except OSError as error:
        raise BadSettingsError(f"cannot read settings file {path}: {error.strerror}") from None
    try:
        settings = msgspec.toml.decode(text, type=Settings)
    except msgspec.MsgspecError as error:
        raise BadSettingsError(f"settings file {path}: {error}") from None
    return _checked(settings, path)


def _checked(settings: Settings, path: Path) -> Settings:
    try:
        zoneinfo.ZoneInfo(settings.zone)
    except (KeyError, ValueError, OSError):
        raise BadSettingsError(
            f"settings file {path}: zone {settings.zone!r} is not a known time zone"
        ) from None
    if settings.broker.kind == "external" and settings.broker.port == 0:
        raise BadSettingsError(f"settings file {path}: broker.port must be given for an external broker")
    return settings
