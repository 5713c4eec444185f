"""Two outings side by side, as a part of the review's page."""

from __future__ import annotations

from typing import Any

from steadyturn.report.html_parts import esc, table
from steadyturn.report.review_against import basis, headline, rows, title


def part(review: Any) -> str:
    """A sentence, the table, and what its verdicts rest on; "" without another outing."""
    if review.against is None:
        return ""
    body = []
    for row in rows(review):
        verdict = f"<b>{esc(row.verdict)}</b>" if row.sure else esc(row.verdict)
        known = f", known to {esc(row.known_to)}" if row.known_to else ""
        body.append((esc(row.name), esc(row.this), esc(row.other),
                     f'{esc(row.difference)}<span class="sub">{verdict}{known}</span>'))
    said = headline(review)
    return (f"<p>{esc(said)}</p>" if said else "") + table(
        esc(title(review)), ("figure", "this", "other", "difference"), body,
        right=(1, 2, 3)) + f'<p class="small">{esc(basis(review.against))}</p>'
