"""The timer of planned starts: its clock set, its thread dead, its pool stuck; it goes on and nothing is lost.

The library reads the time itself; see support/movable_clock.py for how it is set here.
"""

import logging
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from support.movable_clock import Clock, movable
from support.waiting import wait_for

from monitor.edge import timer as module
from monitor.edge.timer import Timer
from monitor.service.clock_watch import ClockWatch

ROOT = Path(__file__).resolve().parents[2]


class Called:
    """Counts looks, and says when."""

    def __init__(self):
        self.at = []

    def __call__(self):
        self.at.append(time.monotonic())


@pytest.fixture
def clock(monkeypatch):
    made = Clock()
    movable(monkeypatch, made)
    return made


@pytest.fixture
def made(clock, monkeypatch):
    """A timer without times; quick enough for a test."""
    monkeypatch.setattr(module, "MIND_S", 0.05)
    monkeypatch.setattr(module, "BEAT_S", 0.1)
    watch = ClockWatch(clock)
    timers = []

    def timer(times=lambda: (), look=lambda: None):
        built = Timer(times, look, clock=clock, pace_s=time.monotonic, clock_steps=watch.look)
        timers.append(built)
        built.start()
        wait_for(lambda: built.built == 1, 5, "the first scheduler")
        return built

    yield timer
    for each in timers:
        each.stop()


def test_it_calls_at_each_time_and_again_after_an_edit(made, clock):
    """A start is looked at when it is due; what was planned since has its own moment."""
    times, look = [(1, clock.wall_s() + 0.4)], Called()
    timer = made(lambda: tuple(times), look)
    begun = time.monotonic()
    wait_for(lambda: len(look.at) >= 2, 5, "the time")  # the first is at once
    assert look.at[1] - begun == pytest.approx(0.45, abs=0.3)
    times[:] = [(2, clock.wall_s() + 0.3)]
    before = len(look.at)
    timer.rebuild()
    wait_for(lambda: len(look.at) >= before + 2, 5, "the other time")


def test_a_demonstration_runs_its_times_as_fast_as_its_clock(clock):
    """An hour of a clock sixty times as fast is a minute."""
    look = Called()
    timer = Timer(
        lambda: ((1, clock.wall_s() + 60.0),), look, clock=clock, pace_s=time.monotonic,
        clock_steps=lambda: 0, speed=120.0,
    )  # fmt: skip
    timer.start()
    wait_for(lambda: len(look.at) >= 2, 5, "half a second later")
    timer.stop()


def test_a_job_that_fails_is_told_and_the_rest_goes_on(made, caplog):
    """The library raises nothing anywhere: a listener says it, and the heart beats on."""

    def fails():
        raise RuntimeError("the look failed")

    with caplog.at_level(logging.WARNING, logger="monitor.edge.timer"):
        logging.getLogger("apscheduler.executors").propagate = False
        timer = made(look=fails)
        wait_for(lambda: any("did not run through" in each.message for each in caplog.records), 5, "the line")
    first = timer._beat_s
    wait_for(lambda: timer._beat_s > first, 5, "another beat")
    assert timer.built == 1


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_thread_that_died_while_it_says_it_runs_is_replaced(made, monkeypatch):
    """Rule 1: `running` stays true; only progress counts."""
    monkeypatch.setattr(module, "LATE_S", 0.6)
    timer = made()
    old = timer._scheduler

    def dies(*_):
        raise SystemExit

    old._process_jobs = dies
    old.wakeup()
    wait_for(lambda: not old._thread.is_alive(), 5, "its end")
    assert old.running
    wait_for(lambda: timer.built == 2, 10, "another one")
    assert old is not timer._scheduler
    wait_for(lambda: timer.beat_age_s() < 0.4, 5, "its beat")
    assert timer.trouble is None


def test_a_pool_that_is_stuck_is_replaced_and_told_meanwhile(made, monkeypatch):
    """Looks that hang on something must not end the timer."""
    monkeypatch.setattr(module, "LATE_S", 0.6)
    hang = threading.Event()
    monkeypatch.setattr(module, "_WORKERS", 1)
    timer = made(look=lambda: hang.wait(8.0))
    wait_for(lambda: timer.built >= 2, 10, "another one")
    hang.set()
    wait_for(lambda: timer.beat_age_s() < 0.4, 10, "its beat")


def test_no_progress_at_all_is_trouble(clock):
    """The page says it where even building anew does not help."""
    now = [0.0]

    def no_times():
        raise OSError("the database is away")

    timer = Timer(no_times, lambda: None, clock=clock, pace_s=lambda: now[0], clock_steps=lambda: 0)
    timer.start()
    assert timer.trouble is None
    now[0] = 200.0
    assert "does not go on" in timer.trouble
    timer.stop()


def test_a_clock_set_back_two_hours_moves_the_jobs(made, clock):
    """Report 9: they do not wait for the old time to come round again."""
    look = Called()
    timer = made(lambda: ((1, clock.wall_s() + 600.0),), look)
    looks = len(look.at)
    clock.ahead_s = -7200.0
    wait_for(lambda: timer.built == 2, 5, "jobs built anew")
    wait_for(lambda: len(look.at) > looks, 5, "a look at once")
    first = timer._beat_s
    wait_for(lambda: timer._beat_s > first, 2, "the beat, within 2 s")
    assert max(timer.next_due_s()) <= 601.0


MONTHS = """
import sys, time
sys.path[:0] = [{root!r}, {tests!r}]
from support.movable_clock import Clock, movable
import pytest
from monitor.edge import timer as module
from monitor.edge.timer import Timer
from monitor.service.clock_watch import ClockWatch

clock = Clock()
movable(pytest.MonkeyPatch(), clock)
clock.ahead_s = -180 * 86_400.0
watch, looks = ClockWatch(clock), []
start_s = time.time() - 3600.0  # planned for an hour ago of the true time
timer = Timer(
    lambda: ((1, start_s),) if clock.ahead_s else (), lambda: looks.append(clock.wall_s()),
    clock=clock, pace_s=time.monotonic, clock_steps=watch.look if {minded} else (lambda: 0),
)
timer.start()
time.sleep(1.5)

def rss_kib():
    return int(next(l for l in open("/proc/self/status") if l.startswith("VmRSS")).split()[1])

before = rss_kib()
clock.ahead_s = 0.0
if not {minded}:
    timer._scheduler.wakeup()  # the library itself meets the jump, before anybody has seen it
peak = before
for _ in range(60):
    time.sleep(0.1)
    peak = max(peak, rss_kib())
print(peak - before, max(timer.next_due_s()), len(looks), timer.beat_age_s())
timer.stop()
"""


@pytest.mark.parametrize("is_minded", [True, False], ids=["step seen", "step not seen"])
def test_months_forward_cost_no_memory_and_no_hang(is_minded):
    """Report 8: 180 days back, then set to now: less than 20 MiB more, the next jobs within 60 s."""
    script = MONTHS.format(root=str(ROOT), tests=str(ROOT / "tests"), minded=is_minded)
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True,
        env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin"},
    )  # fmt: skip
    more_kib, next_due_s, looks, beat_age_s = (float(each) for each in done.stdout.split())
    assert more_kib < 20 * 1024
    assert next_due_s <= 60.0
    assert beat_age_s < 6.0
    assert looks >= 1
