"""Packs as a node would send them, written by hand."""

import json


def pack(seq, at_s, humidity=14.2, channel="b1", boot="7f3a", temperature=23.41, due_s=120):
    """A pack of one channel: temperature and humidity at an absolute time."""
    return json.dumps(
        [
            {
                "bn": f"urn:dev:mac:02000000000000a7:{channel}/",
                "bt": at_s,
                "n": "temperature",
                "u": "Cel",
                "v": temperature,
                "ut": due_s,
            },
            {"n": "humidity", "u": "%RH", "v": humidity},
            {"bn": "urn:dev:mac:02000000000000a7:", "n": "seq", "v": seq},
            {"n": "boot", "vs": boot},
            {"n": "uptime", "u": "s", "v": 100.5 + seq},
        ]
    )
