"""The button at the oven: remote start is possible only for a while after somebody was there (B-10, B-12)."""

from controller.limits import ARMED_MS, PRESENT_MS


class Arming:
    """Armed by the button's rising edge, until the door opens or half an hour has passed."""

    def __init__(self) -> None:
        self._until_ms: int | None = None
        self._pressed_ms: int | None = None
        self._was_pressed = True  # a button that is stuck at power-up gives no edge

    def step(self, now_ms: int, *, pressed: bool, may_arm: bool) -> None:
        """`may_arm`: the door is shut, nothing is tripped and nobody holds the stop button."""
        if not may_arm or (self._until_ms is not None and now_ms >= self._until_ms):
            self._until_ms = None
        if pressed and not self._was_pressed:
            self._pressed_ms = now_ms
            if may_arm:
                self._until_ms = now_ms + ARMED_MS
        self._was_pressed = pressed

    def left_s(self, now_ms: int) -> int:
        """0 when not armed."""
        return max(self._until_ms - now_ms, 0) // 1000 if self._until_ms is not None else 0

    def is_armed(self, now_ms: int) -> bool:
        return self._until_ms is not None and now_ms < self._until_ms

    def is_somebody_there(self, now_ms: int) -> bool:
        """Whether the button was pressed a moment ago: what a reset after a safety trip needs."""
        return self._pressed_ms is not None and now_ms - self._pressed_ms <= PRESENT_MS

    def there_s(self, now_ms: int) -> int:
        """How long the last press still shows that somebody is there; 0 when it does not."""
        if self._pressed_ms is None:
            return 0
        return max(self._pressed_ms + PRESENT_MS - now_ms, 0) // 1000

    def forget_presence(self) -> None:
        self._pressed_ms = None
