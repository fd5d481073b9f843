"""Runs benchmarks by name and prints a table and JSON: `python -m benchmarks [NAME ...]`."""

import importlib
import json
import sys

# Those run without a name; the long ones only when asked for.
SHORT = ("ingest", "replay", "start", "store", "fleet", "world", "physics", "alarms")
LONG = ("year", "outages", "spools", "boxes", "limit", "plan", "ovens", "kills")


def main(names):
    unknown = [name for name in names if name not in (*SHORT, *LONG)]
    if unknown:
        print(f"unknown: {', '.join(unknown)}; one of: {', '.join((*SHORT, *LONG))}", file=sys.stderr)
        return 2
    results = {}
    for name in names or SHORT:
        results[name] = importlib.import_module(f"benchmarks.bench_{name}").run()
        print(f"\n### {name}\n\n| what | measured |\n|---|---|")
        for what, value in results[name].items():
            print(f"| {what} | {value:.4g} |" if isinstance(value, float) else f"| {what} | {value} |")
    print("\n" + json.dumps(results))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
