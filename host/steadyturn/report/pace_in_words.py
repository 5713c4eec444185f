"""A pace for somebody without a watch."""

from __future__ import annotations

# up to so many turns/min -> in words
_WORDS = (
    (24, "less than one in two seconds"), (35, "about one in two seconds"),
    (44, "about two in three seconds"), (54, "a little less than one a second"),
    (65, "about one a second"), (79, "a little more than one a second"),
    (100, "about three in two seconds"), (114, "a little less than two a second"),
    (130, "about two a second"), (1e9, "more than two a second"),
)


def in_words(pace_tpm: float) -> str:
    """Turns of the handle.

    >>> in_words(60), in_words(69), in_words(90)
    ('about one a second', 'a little more than one a second', 'about three in two seconds')
    """
    return next(said for most, said in _WORDS if pace_tpm <= most + 0.5)


def in_ten_seconds(pace_tpm: float) -> str:
    """Turns in ten seconds, to half a turn.

    >>> in_ten_seconds(69), in_ten_seconds(60)
    ('11 and a half', '10')
    """
    halves = round(pace_tpm / 3)
    return f"{halves // 2} and a half" if halves % 2 else f"{halves // 2}"
