"""Writes the captures of tests/data: `PYTHONPATH=tests python -m support.box_capture FOLDER`."""

import gzip
import json
import sys
from pathlib import Path

from support.box_small import PLAIN, course_of, with_fault

START_S = 1_772_352_000  # 2026-03-01
DAYS, FAULT_DAY, SEED = 24.0, 14.0, 2
BOXES = {"sound": PLAIN, "leak": with_fault("leak", FAULT_DAY)}
PACK_S = 3600
SITE = "quay"


def lines(box):
    """One node in the box and the room round it: a reading each every five minutes, a pack every hour."""
    course = course_of(box, DAYS, SEED)
    rows = [
        (
            START_S + round(float(at_s)),
            [
                ("box", float(course.temperature_c[row, 0]), 100.0 * float(course.humidity[row, 0])),
                ("air", float(course.room_c[row, 0]), 100.0 * float(course.room_humidity[row, 0])),
            ],
        )
        for row, at_s in enumerate(course.time_s)
    ]
    per_pack = round(PACK_S / (rows[1][0] - rows[0][0]))
    for number, begin in enumerate(range(0, len(rows), per_pack)):
        part = rows[begin : begin + per_pack]
        yield json.dumps(
            {
                "at": part[-1][0] + 1.0,
                "topic": f"sorbwatch/{SITE}/node/n1/senml",
                "retain": False,
                "payload": _pack(part, number),
            },
            separators=(",", ":"),
        )


def _pack(part, number):
    records = []
    for place in range(2):
        for at_s, readings in part:
            channel, warmth, humidity = readings[place]
            records.append(
                {"bt": at_s, "n": f"{channel}/temperature", "u": "Cel", "v": round(warmth, 2), "ut": 600}
            )
            records.append({"n": f"{channel}/humidity", "u": "%RH", "v": round(humidity, 2)})
    return [
        *records,
        {"n": "seq", "v": number},
        {"n": "boot", "vs": "c0de"},
        {"n": "uptime", "u": "s", "v": float(PACK_S * (number + 1))},
    ]


def main(folder):
    for name, box in BOXES.items():
        with gzip.GzipFile(Path(folder) / f"box-{name}.jsonl.gz", "wb", mtime=0) as file:
            for line in lines(box):
                file.write(line.encode() + b"\n")


if __name__ == "__main__":
    main(sys.argv[1])
