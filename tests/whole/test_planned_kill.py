"""Planned starts over `kill -9` of the service: the rows are there, what became due meanwhile is asked about."""

import json
import sqlite3
import time
from contextlib import closing

import pytest
from support.processes import Program, free_port, get, get_json, run, settings_file
from support.waiting import wait_for

pytestmark = [pytest.mark.broker, pytest.mark.whole]

INVENTORY = """
[[room]]
key = "hall"
name = "Hall"
[[oven]]
key = "kiln"
name = "Kiln"
room = "hall"
max_c = 80
[[spool]]
key = "grey"
name = "Grey"
material = "petg"
diameter_mm = 1.75
net_g = 750
place = "kiln"
"""
CONTENT = {
    "load": ["grey"], "is_tray": False, "setpoint_c": 50.0, "duration_s": 7200.0, "needed_s": 7200.0,
    "limited_by": "grey", "unattended": True, "due_s": None, "target_pct": None, "dry_g": None, "loading_pct": None,
    "spools": [["grey", "kiln", 750.0]],
}  # fmt: skip


def test_a_start_that_came_due_while_the_service_was_killed_is_asked_about(tmp_path, broker):
    """B-13, C.4: nothing is forgotten, nothing is begun late, and whoever looks is told."""
    web_port = free_port()
    settings = settings_file(tmp_path, broker.port, web_port)
    (tmp_path / "inventory.toml").write_text(INVENTORY)
    code, _, said = run("inventory", "load", tmp_path / "inventory.toml", "--settings", settings)
    assert code == 0, said
    program = Program("serve", "--settings", settings)
    assert "sorbwatch is at" in program.line()
    now_s = time.time()
    soon_s = now_s + 4.0
    with closing(sqlite3.connect(tmp_path / "live.db")) as db:
        for number, start_s in ((1, soon_s), (2, now_s + 86_400.0)):
            row = (
                number,
                round(start_s * 1000),
                round(now_s * 1000),
                json.dumps(CONTENT),
                round(now_s * 1000),
            )
            db.execute(
                "INSERT INTO planned_start SELECT site_id, ?, 'kiln', ?, ?, 'Mira', ?, 'planned', ?, '', NULL FROM site",
                row,
            )
        db.commit()
    program.kill()
    wait_for(lambda: time.time() > soon_s + 1.0, 10, "its time")
    program = Program("serve", "--settings", settings)
    try:
        assert "sorbwatch is at" in program.line()

        def needs():
            status = get_json(f"http://127.0.0.1:{web_port}/api/v1/status")
            return [need["what"] for need in status["needs"]]

        wait_for(lambda: any("was missed and not begun" in what for what in needs()), 20, "the question")
        page = get(f"http://127.0.0.1:{web_port}/ready")[1]
        assert "while the program was not running" in str(page)
        with closing(sqlite3.connect(tmp_path / "live.db")) as db:
            states = dict(db.execute("SELECT number, state FROM planned_start").fetchall())
        assert states == {1: "missed", 2: "planned"}
    finally:
        program.stop()
