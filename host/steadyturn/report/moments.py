"""Host times for people: this machine's zone, and which of two where a clock was set back."""

from __future__ import annotations

from datetime import datetime
from typing import Any

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def moment(host_s: float) -> str:
    """01 Mar 2026, 18:04; in the hour that comes twice when summer time ends, with the
    zone's offset: 25 Oct 2026, 02:30 +02:00."""
    local = datetime.fromtimestamp(host_s)
    twice = local.replace(fold=0).timestamp() != local.replace(fold=1).timestamp()
    offset = f" {local.astimezone().isoformat()[-6:]}" if twice else ""
    return f"{_date(local)}, {local:%H:%M}{offset}"


def day(host_s: float) -> str:
    """01 Mar 2026"""
    return _date(datetime.fromtimestamp(host_s))


def _date(when: Any) -> str:
    return f"{when.day:02d} {MONTHS[when.month - 1]} {when.year}"


def when(outing: Any) -> str:
    """When an outing began, or what is known of it instead. outing: has begin_s, end_s, after_s
    and until_s, each seconds since 1970 or None."""
    if outing.begin_s is not None:
        return moment(outing.begin_s)
    if outing.end_s is not None:
        return f"to {moment(outing.end_s)}"
    after, until = (None if s is None else day(s) for s in (outing.after_s, outing.until_s))
    if after is not None and after == until:
        return after
    if after is not None:
        return f"undated, after {after}"
    return "undated" if until is None else f"undated, by {until}"  # that day too
