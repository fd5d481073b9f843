"""What no message and no setting can raise, and one oven's own figures within it (B-52)."""

# No oven for filament needs more; above it a spool is damaged and an SHT4x is outside of its range.
FIRMWARE_HARD_C = 125.0
# R1: outside of this a reading is a broken lead, not a temperature.
SENSOR_LEAST_C, SENSOR_MOST_C = -10.0, 130.0
# The contract's bounds on a permit.
LEASE_MOST_S = 60.0
STATE_OLDEST_MS = 10_000
# B-10: arming lapses.
ARMED_MS = 30 * 60_000
# B-04, B-22: a run whose heat was taken away may go on within this time; later it is a new start.
RESUME_MS = 5 * 60_000
# B-04: a permit with a set-point no higher than this asks for no heat at all; it is how the monitor holds.
NO_HEAT_C = 0.0
# R15: nothing heats longer, whatever renews it.
RUN_MOST_MS = 48 * 3_600_000
# R2.
STALE_HOLD_MS, STALE_TRIP_MS = 30_000, 60_000
# R3: a living sensor is never this quiet in ten minutes under a heater that is pulsed at all.
# The bound on the duty was a fifth once: where both sensors stuck in the calm it fell below that unseen.
STUCK_C, STUCK_DUTY = 0.02, 0.05
STUCK_BUCKET_MS = 5 * 60_000
# R4: under heat and with the door shut no chamber cools like this; a probe that fell out does.
FELL_OUT_C, FELL_OUT_MS = 12.0, 60_000
# R5: at full duty and from well below the set-point, less than this in ten minutes is no rise.
NO_RISE_C, NO_RISE_MS, NO_RISE_DUTY, NO_RISE_BELOW_C = 3.0, 10 * 60_000, 0.9, 5.0
# R6: heat that nobody asked for. The element's stored heat is gone after the lag.
OFF_LAG_MS, OFF_RISE_MS, OFF_RISE_C = 5 * 60_000, 3 * 60_000, 1.0
OFF_POWER_W, OFF_POWER_MS = 5.0, 10_000
OVER_SETPOINT_C, OVER_SETPOINT_MS, FALLING_C = 5.0, 5 * 60_000, 0.2
# R8: heat is cut at the ceiling at once and comes back below the set-point. A chamber that goes on rising
# this far past the ceiling trips, and so does one that has come up to it too often (R13).
CEILING_TRIP_C, CEILING_TRIP_MS, CEILING_CUTS = 3.0, 6_000, 3
# R13: and so it is this far above the set-point, which a heater under control never is: its second switch may
# have welded, and at full power the element's stored heat alone carries a chamber past a ceiling.
OVERSHOOT_CUT_C = 3.0
# R10.
DISAGREE_C, DISAGREE_HOLD_MS, DISAGREE_TRIP_MS = 8.0, 2 * 60_000, 5 * 60_000
# R14: heat needs a fan that is proven; one that is gone for this long trips.
FAN_LEAST, FAN_TRIP_MS = 0.5, 10_000
# B-30: a reset needs a chamber that burns nobody.
RESET_BELOW_C = 45.0
# A safety trip is reset by somebody who has pressed the oven's button this short a time ago.
PRESENT_MS = 2 * 60_000
# Permits and resets read between two steps; more are dropped unread. Stops are never dropped.
MESSAGES_PER_STEP = 16
PAYLOAD_MOST_BYTES = 2048


class OvenLimits:
    """One oven's figures; ValueError where they would pass a hard limit."""

    def __init__(
        self,
        *,
        hard_c: float,
        sensors: int = 2,
        has_arming: bool = True,
        has_fan: bool = True,
        run_most_h: float = 24.0,
        cooling_c: float = 45.0,
        step_ms: int = 2000,
        window_ms: int = 10_000,
        least_on_ms: int = 2000,
        relay_rest_ms: int = 10_000,
        band_c: float = 12.0,
        integral_s: float = 300.0,
        lead_s: float = 40.0,
    ) -> None:
        """Temperatures in °C, times as their names say.

        Args:
            hard_c: R9's limit, above every ceiling and below the thermal cut-out.
            sensors: How many chamber sensors there are.
            has_arming: Whether there is a button that arms (B-10); without one the oven is attended-only.
            has_fan: Whether a fan with a tacho stirs the chamber.
            run_most_h: Longest run of one cycle (R15).
            cooling_c: Below it a chamber without heat is no longer "cooling".
            step_ms: How often the board steps; three late steps end the heat, ten trip (R19).
            window_ms: One window of the time-proportioned switch; 120 000 where it is a relay (R17).
            least_on_ms: Shortest on and off time within it; 10 000 where it is a relay (R17).
            relay_rest_ms: How long the enabling relay stays open once it has opened (R17).
            band_c: Error at which the heat is full.
            integral_s: Time in which the integral does what the band does.
            lead_s: How far ahead the regulator looks along the present rise: about the element's lag.
        """
        if not 30.0 <= hard_c <= FIRMWARE_HARD_C:
            raise ValueError("hard_c must be 30 to " + str(FIRMWARE_HARD_C))
        if not 1 <= sensors <= 4:
            raise ValueError("sensors must be 1 to 4")
        if not 0.0 < run_most_h * 3_600_000 <= RUN_MOST_MS:
            raise ValueError("run_most_h must be above 0 and at most 48")
        if not 100 <= step_ms <= 5000:
            raise ValueError("step_ms must be 100 to 5000")
        if not 0 < least_on_ms <= window_ms // 2:
            raise ValueError("least_on_ms must be above 0 and at most half of window_ms")
        self.hard_c = hard_c
        self.sensors = sensors
        self.has_arming = has_arming
        self.has_fan = has_fan
        self.run_most_ms = int(run_most_h * 3_600_000)
        self.cooling_c = min(cooling_c, RESET_BELOW_C)
        self.step_ms = step_ms
        self.window_ms = window_ms
        self.least_on_ms = least_on_ms
        self.relay_rest_ms = relay_rest_ms
        self.band_c = band_c
        self.integral_s = integral_s
        self.lead_s = lead_s
