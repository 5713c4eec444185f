"""What outings showed of the band, for a person."""

from __future__ import annotations

from math import isfinite
from typing import Any

from steadyturn.report.paceband import short
from steadyturn.report.style import item, wrap

EDGES = {"low_tpm": "slow end", "target_tpm": "target", "high_tpm": "fast end"}
REMARKS = {
    "too_narrow_low_tpm": "The load was let go again and again near the slow end, but a band "
    "above that would be too narrow for a hand: look at 'steadyturn review' for the machine.",
    "too_narrow_high_tpm": "The load was let go again and again near the fast end, but a band "
    "below that would be too narrow for a hand: look at 'steadyturn review' for the machine.",
    "held_with_releases": "The pace that is held differs from the target, but the load was let "
    "go too often at it to call it good.",
    "held_outside": "The pace that is held lies outside what the machine bears well; other gears "
    "would bring the band to it ('steadyturn review' says which).",
}


def lines(use: Any) -> list[str]:
    """See sessions.use_band.UseFound."""
    if not use.outings and not use.left_out:
        return [wrap("The library has no outing of this rig: crank, 'steadyturn pull', and ask "
                     "again.")]
    count = len(use.outings)
    head = (f"{count} outing{'' if count == 1 else 's'} with this machine and band, "
            f"{use.connected_s / 60:.0f} min with the phone connected")
    if use.left_out:
        head += f" ({use.left_out} more are left out: too short, or other settings)"
    found = [wrap(head + ".")]
    if isfinite(use.held_tpm):
        found.append(wrap(f"Held: {use.held_tpm:.1f} turns/min"
                          + (f" ({use.held_low_tpm:.1f} to {use.held_high_tpm:.1f} with 95 %)"
                             if isfinite(use.held_low_tpm) else "")
                          + f"; in the band for {use.in_band_percent:.0f} % of the turning."))
    found += [_constant(one) for one in use.constants]
    if use.constants:
        return [*found, wrap("The new band is the machine's with these. Held paces were "
                             "reckoned with the old ones: ask again after some outings.")]
    if use.short_of:
        found.append(wrap("Too little to judge by: it takes 3 outings of 2 minutes or more with "
                          "the phone connected, 15 minutes together."))
    found += [_step(step) for step in use.steps]
    found += [item(REMARKS[code]) for code in use.remarks]
    if not use.steps and not use.short_of and not use.remarks:
        found.append(wrap("Nothing in them asks for another band."))
    return found


def _constant(one: Any) -> str:
    name = {"terminal_ohm": "ohms of each motor at 20 degC",
            "emf_v_per_krpm": "volts per 1000 rpm of each motor"}[one.key]
    return item(f"{name}: {one.before:.4g} in the rig file, {one.after:.4g} ({one.low:.4g} to "
                f"{one.high:.4g} with 95 %) by {one.outings} outings.")


def _step(step: Any) -> str:
    seen, worth = step.evidence, step.worth
    head = f"{EDGES[step.edge]} {short(step.before)} -> {step.after:g} turns/min: "
    if step.why == "held":
        way = "faster" if step.after < step.before else "slower"
        more = worth["effort_percent"]
        cost = "costs the arm no more for each Wh" if abs(more) < 0.5 else (
            f"costs the arm {abs(more):.1f} % {'more' if more > 0 else 'less'} for each Wh")
        return item(
            f"{head}over {seen['minutes']:.0f} min this hand kept {seen['held_tpm']:.1f}, while "
            f"the lamp asked for {way} {seen['asked_percent']:.0f} % of the time. There it "
            f"{cost} ({worth['arm_w_before']:.1f} -> {worth['arm_w_after']:.1f} W at the "
            "handle), and the lamp agrees with the hand.")
    many = f"{seen['releases']:.0f} times in {seen['outings']:.0f} outings"
    span = f"{seen['from_tpm']:.0f} to {seen['to_tpm']:.0f} turns/min"
    reason = ("the volts broke down" if step.why == "collapses" else
              "there were too many volts, amps or turns")
    return item(f"{head}{many} the load was let go at {span}, inside the band, because {reason}. "
                f"With the new end the lamp warns before {worth['warned_of']:.0f} of these "
                f"{seen['releases']:.0f}.")
