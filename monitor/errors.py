"""The errors this program raises on purpose; the type says whose fault it is."""


class MonitorError(Exception):
    """Root of all errors raised on purpose. Its text is one sentence a person can act on."""


class BadMessageError(MonitorError):
    """A device sent something that cannot be used; the message is quarantined with this reason."""


class BadSettingsError(MonitorError):
    """The person who installs wrote something wrong; names the setting."""


class BadInputError(MonitorError):
    """A file, option or form field is wrong; names the field and what is allowed."""


class FieldError(BadInputError):
    """One field of a question is wrong; a form says so beside that field."""

    def __init__(self, field: str, fault: str) -> None:
        super().__init__(f"{field} {fault}")
        self.field = field
        self.fault = fault  # goes on after the field's name


class RefusedError(MonitorError):
    """Nobody's fault: the wish cannot be granted, and this says why."""


class GoneError(MonitorError):
    """A receiver of messages is there no more, and never will be again."""


class LaterError(MonitorError):
    """A receiver of messages asks to be left alone for so long [s]."""

    def __init__(self, text: str, after_s: float) -> None:
        super().__init__(text)
        self.after_s = after_s


class ForbiddenMoveError(MonitorError):
    """Our own code asked for a transition that no table allows: a bug."""


class StoreError(MonitorError):
    """The disk or the database failed; what was not committed is still owed."""


class StoreBusyError(StoreError):
    """Another process holds the database; try again, nothing is lost."""
