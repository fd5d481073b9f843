"""Which way modules may look, held by walking every import."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
# The first prefix that fits gives a module's row; a module without a row fails.
ROWS = [
    ("monitor.__main__", 9),
    ("monitor.cli", 8),
    ("monitor.commands", 7),
    ("web", 6),
    ("monitor.app", 5),
    ("monitor.simulator", 5),
    ("monitor.service", 4),
    ("monitor.store", 4),
    ("monitor.edge", 4),
    ("monitor.estimate", 3),
    ("monitor.oven", 3),
    ("monitor.alarms", 3),
    ("monitor.physics", 2),
    ("monitor.wire", 2),
    ("monitor.ports", 2),
    ("monitor.settings", 2),
    ("monitor.library", 2),
    ("monitor.model", 1),
    ("monitor.errors", 0),
    ("monitor", 0),
    # What runs in an oven's own node knows nothing of the monitor.
    ("controller", 0),
]
# The library behind each door, and the only modules that may open it.
DOORS = {
    "paho": ("monitor.edge.mqtt", "monitor.edge.mqtt_client", "monitor.edge.mqtt_node"),
    "amqtt": ("monitor.edge.trial_broker",),
    "sqlite3": ("monitor.store",),
    "adafruit_sht4x": ("monitor.edge.sht4x",),
    "Adafruit_PureIO": ("monitor.edge.i2c",),
    "apscheduler": ("monitor.edge.timer",),
    "flask": ("web",),
    "waitress": ("web",),
    "msgspec": ("monitor.wire", "monitor.settings", "monitor.library"),
    "cbor2": ("monitor.wire",),
    "icalendar": ("monitor.wire.icalendar_feed",),
    "fpdf": ("web.reports.pdf",),
    "numpy": ("monitor.physics", "monitor.estimate", "monitor.simulator"),
    "apprise": ("monitor.edge.channels",),
    "cryptography": ("monitor.edge.sealing", "monitor.edge.push_crypto"),
    "segno": ("monitor.commands.services", "web.spools.label"),
    "scipy": (),
    "matplotlib": (),
    "board": (),
    # Only the simulated oven, and tests, run the node's own code.
    "controller": ("controller", "monitor.simulator"),
}
# From `monitor`, these packages see only this.
NARROW = {
    "web": (
        "monitor.app",
        "monitor.model",
        "monitor.errors",
        "monitor.service.queries",
        "monitor.service.changes",
        "monitor.service.advice",
        "monitor.service.audit_log",
        "monitor.service.calendar",
        "monitor.service.series_table",
        "monitor.wire.audit",
        "monitor.wire.series_csv",
        "monitor.service.alarm_acts",
        "monitor.service.alarm_answers",
        "monitor.service.alarm_figures",
        "monitor.alarms.metrics",
        "monitor.service.people",
        "monitor.service.delivery",
        "monitor.service.sessions",
        "monitor.service.passwords",
        "monitor.service.report",
        "monitor.service.room_advice",
        "monitor.service.bag_advice",
        "monitor.service.oven_commissioning",
        "monitor.service.oven_proof",
        "monitor.service.planning",
        "monitor.service.planned_starts",
        "monitor.service.planning_ready",
        "monitor.service.spool_words",
        "monitor.service.cycle_records",
        "monitor.wire.cycle_records",
        # Of the ovens' rules only what is shown of them: bounds, what a load stands, jobs by their times.
        "monitor.oven.hard",
        "monitor.oven.learning",  # and what a run told, and the steps of a proof test
        "monitor.oven.proof",
        "monitor.oven.load_limit",
        "monitor.oven.parameters",
        "monitor.oven.ready_by",
        "monitor.wire.alarm_orders",
        "monitor.oven.ready_by_calendar",
        "monitor.wire.box_events",
        "monitor.wire.icalendar_feed",
        "monitor.wire.oven_orders",
        "monitor.wire.oven_wishes",
        "monitor.wire.records",
        "monitor.wire.sensor_events",
        "monitor.wire.spool_events",
        "monitor.alarms.wording",
        "monitor.estimate.care",
        "monitor.library",
    ),
    "monitor.simulator": (
        "monitor.model",
        "monitor.errors",
        "monitor.physics",
        "monitor.wire",
        "monitor.library",
        "monitor.settings",
        "monitor.edge",
        "monitor.ports",
    ),
}


def _modules():
    for package in ("monitor", "web", "controller"):
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            yield ".".join(parts[:-1] if parts[-1] == "__init__" else parts), path


def _imports(path):
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are absolute"
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def _within(name, prefix):
    return name == prefix or name.startswith(prefix + ".")


def _row(name):
    return next((row for prefix, row in ROWS if _within(name, prefix)), None)


def _package(name):
    return next(prefix for prefix, _ in ROWS if _within(name, prefix))


def test_every_module_has_a_row_and_looks_only_down_or_within_its_own_package():
    """Feedback between modules is the sign of a decision in the wrong place."""
    for name, path in _modules():
        assert _row(name) is not None, f"{name} has no row"
        for target in _imports(path):
            if not (_within(target, "monitor") or _within(target, "web")) or target == "monitor.__version__":
                continue
            inside = _package(target) == _package(name)
            assert inside or _row(target) < _row(name), f"{name} must not import {target}"


def test_each_library_stands_behind_its_door():
    """A swap of broker library, database or web framework must be one place."""
    for name, path in _modules():
        for target in _imports(path):
            for library, doors in DOORS.items():
                if _within(target, library):
                    assert any(_within(name, door) for door in doors), f"{name} must not import {library}"


def test_the_simulator_and_the_pages_see_no_more_than_they_need():
    """A simulator that shared state with the estimators could not test them."""
    for name, path in _modules():
        for package, allowed in NARROW.items():
            if not _within(name, package):
                continue
            for target in _imports(path):
                if _within(target, "monitor") and target not in ("monitor", "monitor.__version__"):
                    mine = _within(target, package) or any(
                        _within(target, a) or _within(a, target) for a in allowed
                    )
                    assert mine, f"{name} must not import {target}"


def test_the_oven_controller_needs_nothing_but_itself_and_json():
    """It runs on CircuitPython and MicroPython, which have little else; and safety stands on nothing else."""
    for name, path in _modules():
        if _within(name, "controller"):
            foreign = {target for target in _imports(path) if not _within(target, "controller")}
            assert foreign <= {"json"}, f"{name} must not import {foreign}"


def test_time_and_chance_come_in_by_one_door():
    """A replay can do what the live service did only if nothing reads the clock on its own."""
    for name, path in _modules():
        if _within(name, "monitor.edge.clock") or _within(name, "monitor.simulator"):
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                called = f"{node.value.id}.{node.attr}"
                assert called not in ("time.time", "time.time_ns", "datetime.now", "dt.datetime.now"), (
                    f"{name} reads the clock by {called}"
                )


def test_the_top_level_holds_exactly_what_is_agreed():
    """Whoever carries on finds everything at its one place."""
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "LICENSE",
        "monitor",
        "web",
        "controller",
        "firmware_notes",
        "tests",
        "deploy",
    }
    found = {
        path.name for path in ROOT.iterdir() if not path.name.startswith(".") and path.suffix != ".egg-info"
    }
    assert found == allowed


def test_files_stay_readable():
    """At 400 lines a module is split; each opens with one sentence that says what it is for."""
    for name, path in _modules():
        text = path.read_text()
        assert len(text.splitlines()) <= 400, f"{name} is too long"
        assert ast.get_docstring(ast.parse(text)), f"{name} does not say what it is for"
