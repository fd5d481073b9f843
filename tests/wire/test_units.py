"""The table of units says what the standards say."""

import pytest

from monitor.wire.units import PRIMARY, SECONDARY


@pytest.mark.parametrize(
    ("unit", "value", "primary", "converted"),
    [
        # RFC 8798 section 3, one value each worked out by hand.
        ("ms", 1500.0, "s", 1.5),
        ("min", 2.0, "s", 120.0),
        ("h", 2.0, "s", 7200.0),
        ("MHz", 868.3, "Hz", 868.3e6),
        ("kW", 1.2, "W", 1200.0),
        ("kVA", 2.0, "VA", 2000.0),
        ("kvar", 2.0, "var", 2000.0),
        ("Ah", 2.0, "C", 7200.0),
        ("Wh", 1.0, "J", 3600.0),
        ("kWh", 0.5, "J", 1.8e6),
        ("varh", 1.0, "vars", 3600.0),
        ("kvarh", 1.0, "vars", 3.6e6),
        ("kVAh", 1.0, "VAs", 3.6e6),
        ("Wh/km", 10.0, "J/m", 36.0),
        ("KiB", 2.0, "B", 2048.0),
        ("GB", 1.0, "B", 1e9),
        ("Mbit/s", 1.0, "bit/s", 1e6),
        ("B/s", 2.0, "bit/s", 16.0),
        ("MB/s", 1.0, "bit/s", 8e6),
        ("mV", 3300.0, "V", 3.3),
        ("mA", 20.0, "A", 0.02),
        ("dBm", -60.0, "dBW", -90.0),
        ("ug/m3", 5.0, "kg/m3", 5e-9),
        ("mm/h", 3600.0, "m/s", 1e-3),
        ("m/h", 3600.0, "m/s", 1.0),
        ("ppm", 400.0, "/", 4e-4),
        ("/100", 50.0, "/", 0.5),
        ("/1000", 500.0, "/", 0.5),
        ("hPa", 1013.25, "Pa", 101325.0),
        ("mm", 1.75, "m", 0.00175),
        ("cm", 20.0, "m", 0.2),
        ("km", 1.2, "m", 1200.0),
        ("km/h", 36.0, "m/s", 10.0),
    ],
)
def test_a_secondary_unit_converts_as_the_standard_says(unit, value, primary, converted):
    """C-12: the table is data; each row is held against a number."""
    row = SECONDARY[unit]
    assert row.unit == primary
    assert row.converted(value) == pytest.approx(converted, rel=1e-12)


def test_units_lead_to_primary_units_with_a_source():
    """C-12: a conversion into an unregistered unit would be a guess."""
    assert {row.unit for row in SECONDARY.values()} <= set(PRIMARY)
    assert not set(SECONDARY) & set(PRIMARY)
    assert set(PRIMARY.values()) == {"RFC 8428", "RFC 8798"}
