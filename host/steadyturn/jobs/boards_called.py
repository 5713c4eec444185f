"""Which board is meant: by its label, by its id, or by the last digits of that."""

from __future__ import annotations

from collections.abc import Sequence

from steadyturn.errors import Problem, WrongInput
from steadyturn.sessions.rows import BoardRow, OutingRow


def boards_called(
    wanted: str, boards: Sequence[BoardRow], outings: Sequence[OutingRow]
) -> set[int]:
    """BoardRow.id of all journals of the one board with that label (as its outings have it) or
    that end of its id. Raises WrongInput where that is none, or several: a label may have been
    given twice."""
    asked = wanted.strip().lower()
    ids = {b.id: b.unique_id for b in boards}
    labels: dict[str, list[str]] = {}
    for row in outings:
        if row.label:
            labels.setdefault(ids[row.board], []).append(row.label)
    found = {id for id, known in labels.items() if asked in {label.lower() for label in known}} \
        or {id for id in ids.values() if id.endswith(asked)}
    if len(found) != 1:
        names = [f"{id} ({labels[id][-1]})" if id in labels else id
                 for id in sorted(set(ids.values()))]
        fault = "fits several boards" if found else "is no board of this library"
        raise WrongInput(Problem(
            "--board", "", wanted, f"{wanted!r} {fault}.",
            f"Its boards: {', '.join(names) or 'none'}; a label or the last digits are enough."))
    return {b.id for b in boards if b.unique_id in found}
