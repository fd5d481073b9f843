"""From the command to the first page, and the memory of the demo, idle and with pages open."""

import statistics
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

from support.processes import Program, free_port, get, get_json
from support.waiting import wait_for

STARTS = 3
STREAMS = 12


def run():
    firsts_s, history_s = [], []
    for number in range(STARTS):
        port = free_port()
        began_s = time.perf_counter()
        program = Program("demo", "--port", port)
        assert "sorbwatch is at" in program.line()
        assert get(f"http://127.0.0.1:{port}/")[0] == 200
        firsts_s.append(time.perf_counter() - began_s)
        status = f"http://127.0.0.1:{port}/api/v1/status"
        wait_for(lambda url=status: get_json(url)["health"]["history_share"] is None, 90, "the history")
        history_s.append(time.perf_counter() - began_s)
        if number == STARTS - 1:
            idle_mb, loaded_mb = _memory(program, port)
            weight, requests = _page(port)
        program.stop()
    with tempfile.TemporaryDirectory() as folder:
        serve_mb = _serve_memory(folder)
    return {
        "command to first page, median [s] (goal 3)": round(statistics.median(firsts_s), 2),
        "command to 30 days of history, median [s]": round(statistics.median(history_s), 1),
        "memory of the service alone, idle [MB] (goal 90)": serve_mb,
        "memory of the demo with its simulator, idle [MB]": idle_mb,
        f"the same with {STREAMS} live pages [MB]": loaded_mb,
        "first page with styles and scripts [bytes]": weight,
        "requests for it": requests,
    }


def _memory(program, port):
    idle = _rss_mb(program.process.pid)
    stop = threading.Event()
    threads = [threading.Thread(target=_watch, args=(port, stop), daemon=True) for _ in range(STREAMS)]
    for thread in threads:
        thread.start()
    for _ in range(40):
        get(f"http://127.0.0.1:{port}/")
    stop.wait(5)
    loaded = _rss_mb(program.process.pid)
    stop.set()
    return idle, loaded


def _watch(port, stop):
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/events", timeout=60) as stream:
        while not stop.is_set():
            stream.readline()


def _page(port):
    base = f"http://127.0.0.1:{port}"
    files = [
        "/",
        "/static/tokens.css",
        "/static/page.css",
        "/static/live.js",
        "/static/ages.js",
        "/static/mark.svg",
    ]
    return sum(len(get(base + path)[1].encode()) for path in files), len(files)


def _serve_memory(folder):
    port = free_port()
    settings = Path(folder) / "settings.toml"
    settings.write_text(
        f'site = "lab"\ndatabase = "sqlite:///{folder}/a.db"\n[broker]\nport = {free_port()}\n[web]\nport = {port}\n'
    )
    program = Program("serve", "--settings", settings)
    assert "sorbwatch is at" in program.line()
    url = f"http://127.0.0.1:{port}/"
    for _ in range(20):
        get(url)
    memory = _rss_mb(program.process.pid)
    program.stop()
    return memory


def _rss_mb(pid):
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return round(int(line.split()[1]) / 1024, 1)
    raise RuntimeError("the kernel does not tell the memory")
