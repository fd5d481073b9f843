"""How long the demonstration's thirty days take, and what one live minute costs."""

import json
import time

from monitor.simulator.demo import DemoSite

_LIVE_S = 1_795_000_200.0


class _StoppedClock:
    def wall_s(self) -> float:
        return _LIVE_S


def run() -> dict[str, float]:
    """Seconds and counts of one whole history, and of one round of all sensors over the emulated buses."""
    site = DemoSite(1, _LIVE_S, _StoppedClock())
    sent = {"packs": 0, "bytes": 0}

    def publish(_node: str, payload: bytes) -> bool:
        sent["packs"] += 1
        sent["bytes"] += len(payload)
        return True

    before_kg = site.world.bodies.box_water_kg()
    begun_s = time.perf_counter()
    site.run_history(publish, lambda _share: None)
    history_s = time.perf_counter() - begun_s
    gained_kg = site.world.bodies.box_water_kg() - before_kg
    begun_s = time.perf_counter()
    for _ in range(20):
        for node in site.nodes:
            node.sample_by_driver(_LIVE_S)
    return {
        "history_s": history_s,
        "packs": sent["packs"],
        "megabytes": sent["bytes"] / 1e6,
        "water_error_relative": float(abs(gained_kg - site.world.leaked_in_kg).max() / before_kg.max()),
        "live_round_ms": (time.perf_counter() - begun_s) / 20 * 1e3,
    }


if __name__ == "__main__":
    print(json.dumps(run(), indent=1))
