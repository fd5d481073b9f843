"""An oven's own controller, the reference: it holds the lease, the limits and the trips where the heat is.

Plain Python that also runs on CircuitPython and MicroPython: no clock, no pins and no network in here. The
board hands in a monotonic time in whole milliseconds (a small board's floats lose a second after days), what
its sensors say and what arrived on MQTT; it gets back which outputs to drive and what to publish.
See `firmware_notes/oven-controller.md` for the wiring round it. Software is class A here: the thermal cut-out
is what makes an oven safe (B-51).
"""
