"""The report on a box or spool: finished words once, shown as a page and as PDF."""
