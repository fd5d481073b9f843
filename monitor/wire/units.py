"""The units SenML knows, each with the standard that registered it."""

from dataclasses import dataclass

_RFC_8428 = (
    "m kg g s A K cd mol Hz rad sr N Pa J W C V F Ohm S Wb T H Cel lm lx Bq Gy Sv kat m2 m3 l m/s m/s2 m3/s "
    "l/s W/m2 cd/m2 bit bit/s lat lon pH dB dBW Bspl count / % %RH %EL EL 1/s 1/min beat/min beats S/m"
)
_RFC_8798 = "B VA VAs var vars J/m kg/m3 deg"

# Primary units and their source: RFC 8428 section 12.1, RFC 8798 section 2.
PRIMARY = dict.fromkeys(_RFC_8428.split(), "RFC 8428") | dict.fromkeys(_RFC_8798.split(), "RFC 8798")


@dataclass(frozen=True, slots=True, kw_only=True)
class Secondary:
    """value in `unit` = (value * times) / over + plus; two whole numbers keep what is exact exact."""

    unit: str
    times: float = 1.0
    over: float = 1.0
    plus: float = 0.0

    def converted(self, value: float) -> float:
        return value * self.times / self.over + self.plus

    def converted_sum(self, total: float) -> float | None:
        """A sum over time; None where an offset would have to be summed over an unknown time."""
        return None if self.plus else total * self.times / self.over


# Secondary units: RFC 8798 section 3.
SECONDARY: dict[str, Secondary] = {
    "ms": Secondary(unit="s", over=1e3),
    "min": Secondary(unit="s", times=60.0),
    "h": Secondary(unit="s", times=3600.0),
    "MHz": Secondary(unit="Hz", times=1e6),
    "kW": Secondary(unit="W", times=1e3),
    "kVA": Secondary(unit="VA", times=1e3),
    "kvar": Secondary(unit="var", times=1e3),
    "Ah": Secondary(unit="C", times=3600.0),
    "Wh": Secondary(unit="J", times=3600.0),
    "kWh": Secondary(unit="J", times=3.6e6),
    "varh": Secondary(unit="vars", times=3600.0),
    "kvarh": Secondary(unit="vars", times=3.6e6),
    "kVAh": Secondary(unit="VAs", times=3.6e6),
    "Wh/km": Secondary(unit="J/m", times=3.6),
    "KiB": Secondary(unit="B", times=1024.0),
    "GB": Secondary(unit="B", times=1e9),
    "Mbit/s": Secondary(unit="bit/s", times=1e6),
    "B/s": Secondary(unit="bit/s", times=8.0),
    "MB/s": Secondary(unit="bit/s", times=8e6),
    "mV": Secondary(unit="V", over=1e3),
    "mA": Secondary(unit="A", over=1e3),
    "dBm": Secondary(unit="dBW", plus=-30.0),
    "ug/m3": Secondary(unit="kg/m3", over=1e9),
    "mm/h": Secondary(unit="m/s", over=3.6e6),
    "m/h": Secondary(unit="m/s", over=3600.0),
    "ppm": Secondary(unit="/", over=1e6),
    "/100": Secondary(unit="/", over=100.0),
    "/1000": Secondary(unit="/", over=1e3),
    "hPa": Secondary(unit="Pa", times=100.0),
    "mm": Secondary(unit="m", over=1e3),
    "cm": Secondary(unit="m", over=100.0),
    "km": Secondary(unit="m", times=1e3),
    "km/h": Secondary(unit="m/s", over=3.6),
}
