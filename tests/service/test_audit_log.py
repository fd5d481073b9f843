"""The watch over the log of what was done."""

from monitor.errors import StoreError
from monitor.service.audit_log import ChainWatch


def test_the_watch_says_nothing_until_it_walked_and_then_what_does_not_hold():
    """`records_broken` rests on it; a database that does not answer is no broken log."""

    class Log:
        fault = None

        def audit_fault(self):
            if isinstance(self.fault, Exception):
                raise self.fault
            return self.fault

    kept = Log()
    watch = ChainWatch(kept)
    assert watch.trouble() is None
    watch.walk()
    assert watch.trouble() == ""
    kept.fault = StoreError("busy")
    watch.walk()
    assert watch.trouble() == ""
    kept.fault = "Line 7 is not as it was written."
    watch.walk()
    assert watch.trouble() == "Line 7 is not as it was written."
