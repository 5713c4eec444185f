"""firmware/cue.md: how well people hold the band by the lamp, from firmware/cue.json."""

from __future__ import annotations

from math import inf

from steadyturn.drawings import cue_results
from steadyturn.drawings.cue_results import Cell, Results, middle, worst_tenth

BANDS = (6, 12, 20)
WAYS = {"lamp": "lamp", "meter": "a look at a multimeter", "none": "nothing"}
GOAL_MIDDLE, GOAL_WORST, GOAL_BAND = 0.90, 0.75, 12


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _seconds(seconds: float) -> str:
    return "never" if seconds == inf else f"{seconds:.0f} s"


def _row(first: str, cell: Cell) -> str:
    return (f"| {first} | {_percent(middle(cell.in_band))} "
            f"| {_percent(worst_tenth(False, cell.in_band))} "
            f"| {_percent(middle(cell.in_band_now))} | {middle(cell.changes):.0f} "
            f"| {_seconds(middle(cell.reached_s))} "
            f"| {_seconds(worst_tenth(True, cell.reached_s))} "
            f"| {_percent(middle(cell.connected))} |")


_COLUMNS = ("in band, median | worst tenth | from moment to moment, median | changes of the cue a "
            "minute | reached, median | worst tenth | connected, median |")


def _table(first: str, rows: list[str]) -> list[str]:
    return [f"| {first} | {_COLUMNS}", "|---" * 8 + "|", *rows, ""]


def met(results: Results) -> bool:
    """The goal: bands of +/-12 % and wider."""
    cells = [results.cell("lamp", band) for band in BANDS if band >= GOAL_BAND]
    return all(middle(c.in_band) >= GOAL_MIDDLE and worst_tenth(False, c.in_band) >= GOAL_WORST
               for c in cells)


def page_text() -> str:
    """The whole page as Markdown."""
    results = cue_results.read()
    main = [_row(f"+/-{band} %, {WAYS[way]}", results.cell(way, band))
            for band in BANDS for way in WAYS]
    tuning = [_row(f"+/-{band} %, lamp", results.cell("lamp", band, "tuning")) for band in BANDS]
    kinds = [_row(kind, results.cell("lamp", 12, lamp=kind))
             for kind in ("led", "piezo", "vibration")]
    few = results.cell("lamp", 12, lamp="piezo").count
    heavy = ", ".join(f"{1000 * j:g}" for j in results.inertia_kg_m2)
    goal = (f"Goal, {_percent(GOAL_MIDDLE)} at the median and {_percent(GOAL_WORST)} at the worst "
            f"tenth for +/-{GOAL_BAND} % and wider: **{'met' if met(results) else 'not met'}**.")
    text = _HEAD.format(count=results.cell("lamp", 12).count, start=results.steady_from_s,
                        end=results.trial_s)
    return "\n".join([
        text, *_table("band, and what tells them", main), goal, "",
        _KINDS.format(few=few), *_table("lamp, +/-12 %", kinds),
        _PEOPLE.format(heavy=heavy), _CHOICES, *_table("tuning people", tuning), _TRIED])


_HEAD = """\
# What people make of the cue

Made from `cue.json` by `python -m steadyturn.jobs.drawings`; a test compares it.
`python tests/host/twin/measure_cue.py` measures that file anew, and a test in every run tries some
of the same people again. **These people are simulated.** Nobody has yet turned a handle for this
page: *needs a board*, and hands.

![shares in the band, and a minute of one person](cue.svg)

{count} people whom nothing was tuned on, each at the handle for {end:.0f} s, at a band about the
target. *Steady time* is all from {start:.0f} s after they began: a fixed moment, so that nobody's
own success decides what is counted; releases, dips at a connection and hunting all count. *In
band* goes by the handle's true pace as a mean over the last half turn, because pull and push
within a turn are nobody's to govern; *from moment to moment* counts those too. *Reached*: the
first time it was in the band for three seconds on end. *Worst tenth*: nine of ten did as well or
better. The same people, machines and chances in each row of a band:
"""

_KINDS = """\
Ear and hand, the first {few} of the same people (`led`: all): silence says hold or rest, and takes
1.35 s to be sure of.
"""

_PEOPLE = """\
## The people

`host/steadyturn/twin/people.py` has every range with its source, or says that it is an assumption:
reaction 0.2-0.7 s, with 15 % of scatter; cadence with 3-6 % of scatter that comes and goes in
1.5-4 s; an own cadence of 70 turns/min (standard deviation 10) to which the pace goes back within
some 40 s whenever nothing is told, a steady light included, and about which it wanders by 5-12 %;
droop 0.3-2 N m s; ripple 10-50 %; strength 22-45 N, tiredness at the start anything up to 0.8.
Half of them fall in with the beat of `faster` (3 % off), the others take it for mere flashes and
speed up until it ends. `slower` names no pace to anybody. They see light, and know what it says
only when the shape has been there: a double wink 0.24 s, a steady light 0.65 s, a beat its second
flash; then comes the reaction.

The machine is the hut of the examples with four inertias as felt at the handle, {heavy}
g m2: the lightest and the heaviest motors and handle of their typical class (2nd: its own), and a
wheel on the axle. Its target, 69 turns/min, happens to be people's own cadence, which is kind to
those who are told nothing. The board's EMF constant is 1 % off and its shunt 0.5 % (standard
deviations).

*Nothing*: the same people keep to their own cadence, which drifts as it does for all. *A look at a
multimeter* every 3-6 s takes a second to read; who finds the volts outside those of the band's
edges changes the pace by the share by which they are off its middle, at most 15 %, within 3 %.
The lamp is covered for both; the board still connects the phone. A long steady look at the meter
would do better, and needs a hand to hold it, light, and eyes for nothing else."""

_CHOICES = """\

## What was chosen, and on whom

On another 100 people, whose outcome is here for comparison: a cue fitted to chance would do better
on them than on those above.
"""

_TRIED = """\
Figures as median / worst tenth of the first 48 tuning people; chance moves them by some 2 and 4 %.

| choice | instead of | what that does |
|---|---|---|
| pace as a mean over half a turn, brought up to now by its trend, and hold until it leaves the \
band | two filters of 0.16 and 0.64 s, and 2 % past the edge | an arm's ripple set off cues: \
+/-6 % 52 / 5 became 53 / 32 %; +/-12 % as good |
| 0.6 s ahead where hold begins | 0.3 s, 0.9 s | no better (+/-12 % 94 / 84, 93 / 78-84 %) |
| nothing ahead where hold ends | 0.3 s | twice the changes of the cue, +/-12 % 93 / 76 instead \
of 94 / 84 % |
| hold begins half-way from the edge to the middle (`hysteresis_dtpm`) | 0.3 of the way | +/-12 % \
93 / 81 instead of 93 / 86 % |
| `dwell_ms` 600 | 900 | +/-12 % 92 / 83 instead of 94 / 84 % |
| `slower` begins with its wink and is lit for 0.5 s | began lit, for 0.8 s | told from hold \
0.8 s sooner, and hold from it 0.3 s; with all the above +/-12 % 94 / 84 instead of 90 / 71 %, \
the dwell being 1200 there |
| `slack_dtpm`: in a narrower band hold is kept until 12 % off the target | to the band's edge | \
+/-6 % 60 / 44 with 51 changes a minute became 63 / 50 with 14 |

What limits narrow bands is the hand: with 4.5 % of scatter about the very target 82 % would be
within +/-6 %."""
