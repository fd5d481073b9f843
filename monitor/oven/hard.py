"""Limits that no configuration, order or message can move (B-52)."""

# Above the hottest drying of a filament in the catalogue, 120 °C, there is nothing to be gained.
MAX_WORKING_C = 120.0
# R9 trips here whatever the oven's own limit says; below the box of believable readings of R1.
MAX_CHAMBER_C = 125.0
# R1: what a sensor in a chamber can say and be believed.
BELIEVABLE_C = (-10.0, 130.0)
BELIEVABLE_HUMIDITY_PCT = (-1.0, 101.0)
# Contract 3: a lease longer than this is refused by every controller; B-24: also by a relay's countdown.
MAX_LEASE_S = 60.0
# Contract 3: a permit that rests on an older state is refused.
MAX_STATE_AGE_S = 10.0
# B-15, R15: no heat without an end, and none beyond this.
MAX_DURATION_S = 48 * 3600.0
# B-11: without arming at the oven.
MAX_UNARMED_C = 60.0
MAX_UNARMED_S = 8 * 3600.0
# B-16: an order that waited longer is not what the person wants now.
MAX_ORDER_AGE_S = 10.0
# B-14: the guard band is never thinner, however good the sensors and the control claim to be.
MIN_GUARD_C = 3.0
# B-14: the weakest material (45 °C) and the weakest reel (50 °C) of the catalogue stand for unknown ones.
UNKNOWN_MATERIAL_C = 45.0
UNKNOWN_BODY_C = 50.0
# B-19, B-30: as good as cold.
COOL_C = 45.0
COOL_ABOVE_ROOM_C = 10.0
# D-13: what is held cooler than this is not held warm.
LEAST_HOLD_C = 25.0
# B-04, B-22.
MAX_HOLDS = 3
MAX_HOLD_S = 300.0
RESUME_WITHIN_S = 300.0
# B-30: so many safety trips in so long take an oven out of service until it is proof-tested.
SAFETY_TRIPS = 3
SAFETY_TRIPS_WITHIN_S = 30 * 86_400.0
# B-30, and whatever cuts heat in hardware: a person must have stood at the oven before it heats again.
LOCAL_RESET = frozenset({"R3", "R4", "R5", "R6", "R7", "R9", "R14", "R20", "B-44", "CUTOUT", "B-18"})
# B-40, B-50.
CHECKLIST_VALID_S = 90 * 86_400.0
PROOF_TEST_VALID_S = 365 * 86_400.0
# on either side of a trip.
FIRST_OUT_S = 600.0
