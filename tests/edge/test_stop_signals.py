"""A signal to stop is heard whichever thread gets it; told by children, as a process has one main thread."""

import signal
import subprocess
import sys

import pytest
from support.processes import ROOT

# The signal goes to a thread that is not the main one, once that waits for the event. The clock decides nothing:
# a signal that comes before the wait is heard, too, only more easily.
CHILD = """
import signal, sys, threading, time
from monitor.edge.stop_signals import stop_signals
number = int(sys.argv[1])
main = threading.get_ident()
before = signal.getsignal(number)  # a shell may have had it ignored

def tell():
    while sys._current_frames()[main].f_code.co_name != "wait":
        time.sleep(0.01)
    time.sleep(0.1)
    signal.pthread_kill(threading.get_ident(), number)
    threading.Event().wait()

with stop_signals() as stop:
    threading.Thread(target=tell, daemon=True).start()
    stop.wait()
    print("told", flush=True)
print(signal.getsignal(number) is before, signal.set_wakeup_fd(-1), len(threading.enumerate()))
"""


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_that_another_thread_gets_wakes_the_one_that_waits(number):
    child = subprocess.run(
        [sys.executable, "-c", CHILD, str(int(number))], cwd=ROOT, timeout=20, capture_output=True, text=True
    )
    told, left = child.stdout.splitlines()
    assert (child.returncode, told) == (0, "told"), child.stderr
    # Handlers and descriptor are as they were before; the watch has ended, the other thread has not.
    assert left == "True -1 2"


def test_signals_that_come_in_dozens_are_one():
    child = subprocess.run(
        [
            sys.executable,
            "-c",
            "import os, signal\n"
            "from monitor.edge.stop_signals import stop_signals\n"
            "with stop_signals() as stop:\n"
            "    for _ in range(100): os.kill(os.getpid(), signal.SIGTERM)\n"
            "    stop.wait()\n"
            "print('ended')",
        ],
        cwd=ROOT,
        timeout=20,
        capture_output=True,
        text=True,
    )
    assert (child.returncode, child.stdout) == (0, "ended\n"), child.stderr
