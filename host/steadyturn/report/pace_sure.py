"""How sure a band is, for a person: the paces that work for most machines built like this."""

from __future__ import annotations

from typing import Any

from steadyturn.report.style import number, table, wrap

SHOWN = 5
LEAST_SHARE = 0.01  # of the variance: what explains less is not shown


def lines(result: Any) -> list[str]:
    """Nothing where `--sure` was not asked for."""
    sure = result.sure
    if sure is None:
        return []
    asked = f"{number(100 * sure.share)} % of machines built like this"
    drawn = (f"{sure.builds} were drawn, each value within its tolerance or the range of its "
             "guess, each machine cold and hot")
    if sure.low_tpm is None:
        return _none(sure, asked, drawn)
    error = 2 * max(sure.low_error_tpm, sure.high_error_tpm)
    edge = "" if error != error else f", each edge +-{max(error, 0.1):.1f}"  # noqa: PLR0124
    found = ["", wrap(
        f"How sure: {sure.low_tpm:.0f}-{sure.high_tpm:.0f} turns/min works for {asked} "
        f"({drawn}{edge}). {_share(sure.works_share, sure.works_error)} have a band at all; "
        f"at {sure.best_tpm:.0f} turns/min most work.")]
    rows = [(c.key, _span(c), _percent(c.width_share),
             "-" if c.wider_tpm is None else f"{max(c.wider_tpm, 0):.1f}")
            for c in sure.ranking if c.width_share >= LEAST_SHARE][:SHOWN]
    if not rows:
        return [*found, wrap("No tolerance costs it anything.")]
    found += ["", wrap("What costs it most width: how much of the width's variance each value "
                       "explains, and by how many turns/min the band that is sure would be "
                       "wider were it exactly as in the file:"),
              table(rows, ("value", "95 % of builds", "share", "wider by"), right=(2, 3))]
    return found


def _none(sure: Any, asked: str, drawn: str) -> list[str]:
    if sure.best_tpm is None:
        return ["", wrap(f"How sure: not one of these machines has a pace that works ({drawn}). "
                         "No measuring mends that; the machine has to change.")]
    found = ["", wrap(
        f"How sure: no pace works for {asked}. At {sure.best_tpm:.0f} turns/min most do, "
        f"{_share(sure.best_share, sure.best_error)} ({drawn}).")]
    rows = [(c.key, _span(c), _percent(c.works_share),
             "-" if c.sure_gain is None else f"{100 * (sure.best_share + c.sure_gain):.0f} %")
            for c in sure.ranking if max(c.works_share, c.width_share) >= LEAST_SHARE][:SHOWN]
    if rows:
        found += ["", wrap("What to know better: how much each value decides whether a machine "
                           "works, and how many would work were it exactly as in the file:"),
                  table(rows, ("value", "95 % of builds", "share", "then work"), right=(2, 3))]
    return found


def _span(cost: Any) -> str:
    return f"{number(cost.low)} to {number(cost.high)} {cost.unit}".rstrip()


def _share(share: float, error: float) -> str:
    wide = 200 * error
    around = f" (+-{number(wide, 1)})" if wide >= 0.05 else ""
    return f"{100 * share:.1f} %{around}"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"
