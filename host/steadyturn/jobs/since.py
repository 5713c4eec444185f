"""A date as a person writes it."""

from __future__ import annotations

from datetime import datetime

from steadyturn.errors import Problem, WrongInput


def since_s(text: str) -> float:
    """Seconds since 1970 of a date or time, ISO 8601, of this machine's zone unless it names
    one. Raises WrongInput."""
    try:
        return datetime.fromisoformat(text.strip()).timestamp()
    except (ValueError, OverflowError, OSError):
        raise WrongInput(Problem("--since", "", text, "a date or a time, as 2026-03-01 or "
                                 "2026-03-01T18:30.", "Without a zone it is this machine's."),
                         ) from None
