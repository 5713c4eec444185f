"""hardware/protection.md: what ngspice found in every mishap, with the margins."""

from __future__ import annotations

from steadyturn.circuit import verdicts
from steadyturn.circuit.checks import Finding, findings
from steadyturn.circuit.hold import hung_s
from steadyturn.circuit.mishaps import MISHAPS, Mishap
from steadyturn.circuit.netlist import LATE_S
from steadyturn.circuit.results import BELOW_GROUND_V
from steadyturn.circuit.source import USUAL_WRITE_S, WORST_WRITE_S
from steadyturn.circuit.surroundings import BEYOND, UNTIL_LET_GO_S
from steadyturn.circuit.values import Design, design
from steadyturn.circuit.verdicts import Run, said, worst
from steadyturn.drawings.protection_chart import DRAWN
from steadyturn.model.band import find_band
from steadyturn.rig.examples import FOLDER, example_names
from steadyturn.rig.file import read_rig

FIRMWARE = {"acts": "acts", "holds": "holds on", "dead": "dead", "silent": "hangs",
            "released": "off"}
COLUMNS = ("phone_v", "cut_us", "clamp_us", "bus_v", "diode_v", "transistor_c", "resistor_c",
           "diode_c", "released_ms")

HEAD = f"""# Protection: every mishap, tried in a circuit simulator

Made by `python -m steadyturn.jobs.drawings` from `host/steadyturn/circuit/protection.json`,
which `python tests/host/circuit/power_bench.py` has ngspice write. Each run is the whole power
path, built from [the parts table](parts.md) as [power_path.md](power_path.md) describes it; tests
run some of them again each time, and all of them with `pytest -m soak`. It certifies nothing.
Local rules and qualified people come first.

**Asked for**: the phone's pins never above 5.5 V; the output's cut within 1 ms and the bus clamp
within 100 us of the volts at which they act; no part above what it bears, in volts or in degrees.
Every tolerance of the references and their dividers stands at its worst, the machine is cold, the
peaks of the EMF count. *Fastest* hand: as `steadyturn check` reckons, 150 turns/min or 1.3 times
the band's high end; *a third faster still*: {BEYOND:.2f} times that. The hand gets there within
50 ms, and for degrees goes on for {UNTIL_LET_GO_S:.0f} s.

**The board** in a run: *acts*: as the firmware stands, it lets go {1e3 * LATE_S:.0f} ms after
an over-voltage, its worst; *holds on*: pulses for ever, whatever comes; *hangs*: no edge any more;
*dead*: no supply any more; *off*: never had any.
"""

LEFT_OUT = (
    ("leads and tracks: no inductance, no coupling",
     "short and twisted leads between converter, cut and socket; ten cm are 0.1 uH, a twentieth "
     "of L1"),
    ("the converter is averaged: a current that holds the set point; a boost has its coil and "
     "diode",
     "ripple and overshoot stay below 0.1 V in a healthy module (engineering judgement); from "
     "set point to cut there are 0.2 V"),
    ("a converter that fails is 0.08 ohm from input to output at once",
     "a real one has its coil between: slower"),
    ("transistors, references, comparator: textbook models, figures of their kinds, from memory",
     "references twenty times slower (16 us): the phone's pins at 5.47 V at most (a test of the "
     "soak series)"),
    ("temperature of the silicon: 27 degC",
     "a diode's drop moves by 2 mV/K; the references' drift is in their tolerance"),
    ("the fuse never blows", "what it ends would only be shorter"),
    ("the EMF is given: a hand that does not yield",
     "currents into a short are larger than an arm's"),
    ("sensor chip, lamp, button", "draw some mA"),
    ("sparks of the brushes", "C1 takes them at the motor; a scope on the bus of a built machine "
     "shows what is left"),
    ("static electricity at the socket", "no part here is for it"),
)

NOT = """
- **A boost without its bus cut (U4 to Q4)** and with an output cut that does not act: the firmware
  releases 45 ms after too many volts, and by then a hand that runs away has put 12.5 V on the
  phone (`radio-tent`, a test of the soak series). So the bus cut is part of every boost's circuit.
- **Two failures at once** are not looked at, and some fail unseen: the output's cut, the clamp,
  the bus cut, one of C5 and C6, one of R11 and R12. Try them on a bench supply before each season.
- **A diode D1 that is shorted, and then a handle turned backwards**: the bus goes {below:.0f} V
  below ground at the worst, which destroys C2 (it bears some {bears:.0f} V) and the converter;
  behind a bridge the diode beside it takes all that the arm gives, {bridge:.0f} degC if the arm
  did not yield. The phone's pins stay at or below {phone:.2f} V. A handle that turns by itself
  when let go says that D1 is gone: stop using it.
- **A hung board in the heat.** Where the sensor's module pulls ALERT up, D12's leakage feeds the
  hold: the longest row below. Only the release by missing pulses is late; the let-go pin, the
  alert and a board without power are not.
- **The board behind a regulator that fails shorted (U7)** dies; R39 may burn and C12 burst: give
  it a cover. The phone is not touched.
- **Static electricity, a second charger on the same phone, water.**
- **A phone's own faults.**
"""

def _backwards() -> dict[str, float]:
    """The worst of all runs with a shorted diode and a handle turned backwards."""
    some = [run for run in verdicts.runs() if run.mishap.name == "diode_short_back"]

    def most(figure: str) -> float:
        return max(run.figures[figure] or 0.0 for run in some)

    return {"below": most("below_v"), "bears": BELOW_GROUND_V, "bridge": most("diode_c"),
            "phone": most("phone_v")}


TOLD = ("phone_v", "cut_us", "clamp_us", "released_ms")  # in columns of their own


def _table(head: list[str], rows: list[list[str]]) -> list[str]:
    return ["| " + " | ".join(head) + " |", "|" + "---|" * len(head),
            *("| " + " | ".join(row) + " |" for row in rows)]


def _rigs() -> list[str]:
    rows = []
    for rig in verdicts.rigs():
        mine = [run for run in verdicts.runs() if run.rig == rig]
        cells = []
        for figure in COLUMNS:
            one = worst(mine, figure)
            limit = mine[0].limits[figure]
            value = one.figures[figure] if one is not None else None
            digits = verdicts.FIGURES[figure][2]
            cells.append("-" if value is None else
                         f"{value:.{digits}f} of {limit:.{digits if figure == 'phone_v' else 0}f}")
        rows.append([rig, str(len(mine)), *cells])
    names = [" ".join((verdicts.FIGURES[name][0], verdicts.FIGURES[name][1])) for name in COLUMNS]
    return _table(["rig", "runs", *names], rows)


def _stress() -> str:
    """The parts that a fault heats for as long as it lasts."""
    told = []
    for figure in ("resistor_share", "reference_ma", "small_w", "q5_w", "q7_c"):
        one = worst(list(verdicts.runs()), figure)
        assert one is not None
        value, limit = one.held()[figure]
        told.append(f"{verdicts.FIGURES[figure][0]} {said(figure, value)}"
                    + ("" if figure == "resistor_share" else f" (at most {limit:g})"))
    return "; ".join(told)


def _mishap_row(mishap: Mishap, some: list[Run]) -> list[str]:
    phone = worst(some, "phone_v")
    assert phone is not None
    volts = phone.figures["phone_v"] or 0.0
    acts = []
    for figure in ("cut_us", "clamp_us", "released_ms"):
        one = worst(some, figure)
        if one is not None:
            acts.append(f"{verdicts.FIGURES[figure][0]} {said(figure, one.figures[figure] or 0)}")
    near = max(((value / limit, name, value, limit) for run in some
                for name, (value, limit) in run.held().items()
                if name not in TOLD and (name != "reservoir_v" or mishap.needs)))
    board = ", ".join(FIRMWARE[name] for name in mishap.firmware)
    title = mishap.title + (f" ({mishap.note})" if mishap.note else "")
    return [", ".join(map(str, mishap.rows)), title, board, f"{volts:.2f}",
            f"{phone.limits['phone_v'] - volts:.2f}", "; ".join(acts) or "-",
            f"{verdicts.FIGURES[near[1]][0]} {said(near[1], near[2])} of "
            f"{said(near[1], near[3])}"]


def _mishaps() -> list[str]:
    safe = set(verdicts.protected())
    rows = []
    for mishap in MISHAPS:
        some = [run for run in verdicts.runs() if run.mishap == mishap and run.rig in safe]
        if some:
            rows.append(_mishap_row(mishap, some))
    return _table(["row", "mishap", "board", "phone V", "margin V", "what acts, at the slowest",
                   "nearest to its limit"], rows)


def _not_protected() -> list[str]:
    rows = [[run.rig, run.mishap.title, FIRMWARE[run.firmware],
             "; ".join(f"{verdicts.FIGURES[name][0]} {said(name, value)} of {said(name, limit)}"
                       for name, (value, limit) in run.broken().items())]
            for run in verdicts.runs() if run.broken()]
    return _table(["rig", "mishap", "board", "what is too much"], rows)


def _designs() -> dict[str, tuple[Design, dict[str, Finding]]]:
    found = {}
    for name in example_names():
        rig = read_rig(FOLDER / f"{name}.toml")
        band = find_band(rig, deep=False)
        made = design(rig, band.low_tpm, band.high_tpm)
        found[name] = made, {one.name: one for one in findings(rig, made)}
    return found


CALCULATED = (
    ("reach.open_v", "open-circuit volts at the fastest hand", "V", 1),
    ("reach.beyond_v", "the same a third faster still", "V", 1),
    ("clamp.volts", "clamp acts from - to", "V", 1),
    ("clamp.spin_j", "energy of all that turns, above the clamp's pace", "J", 2),
    ("clamp.cranked_j", f"energy cranked into the clamp in {UNTIL_LET_GO_S:.0f} s", "J", 0),
    ("clamp.load", "R5", "", 0),
    ("hold", "hold time, shortest - longest", "ms", 0),
    ("hung", "the longest, D12 pulled up, at 25 / 40 / 60 degC", "ms", 0),
    ("reservoir", "reservoir lasts a writing board from fade_v / forbid_v (asked for: "
     f"{1e3 * WORST_WRITE_S:.0f} / {1e3 * USUAL_WRITE_S:.0f})", "ms", 0),
    ("fuse", "fuse; blows at; an arm drives for a moment", "A", 1),
    ("inrush", "inrush as the load switch closes", "A", 0),
    ("bleed", "bus falls to a tenth after", "s", 0),
)


def _cell(what: str, made: Design, crank: bool) -> str:
    c, h, r, s = made.clamp, made.hold, made.reservoir, made.source
    return {
        "reach.open_v": f"{made.far.open_v:.1f}", "reach.beyond_v": f"{made.far.beyond_v:.1f}",
        "clamp.volts": f"{c.trip.low_v:.1f}-{c.trip.high_v:.1f}",
        "clamp.spin_j": f"{c.spin_j:.2f}" if c.needed else "-",
        "clamp.cranked_j": f"{c.cranked_j:.0f}" if c.needed else "-",
        "clamp.load": f"{c.load_ohm:g} ohm, {c.load_w:.0f} W",
        "hold": f"{1e3 * h.shortest_s:.0f}-{1e3 * h.longest_s:.0f}",
        "hung": " / ".join(f"{1e3 * hung_s(h, at_c):.0f}" for at_c in (25.0, 40.0, 60.0)),
        "reservoir": f"{1e3 * r.fade_s:.0f} / {1e3 * r.forbid_s:.0f}" if crank else "-",
        "fuse": f"{s.fuse_a:g}; {s.blows_a:g}; {s.arm_a:.0f}",
        "inrush": f"{s.inrush_a:.0f}", "bleed": f"{s.bleed_s:.0f}",
    }[what]


def _calculated() -> list[str]:
    designs = _designs()
    rows = [[f"{title} [{unit}]" if unit else title,
             *(_cell(what, made, "write_at_fade" in found)
               for made, found in designs.values())]
            for what, title, unit, _ in CALCULATED]
    lines = _table(["calculated", *designs], rows)
    bad = [f"- {name}: {one.words} ({one.value:.1f} against {one.limit:.1f} {one.unit})."
           for name, (_, found) in designs.items() for one in found.values() if not one.ok]
    return [*lines, "", "What these figures do not meet in the examples:", "", *bad]


def page_text() -> str:
    """The whole page."""
    safe = verdicts.protected()
    count = sum(run.rig in safe for run in verdicts.runs())
    top = max(run.figures["phone_v"] or 0.0 for run in verdicts.runs() if run.rig in safe)
    pictures = [f"![Bus, converter's output and socket in every mishap: {rig}]({path})\n"
                for rig, path in DRAWN.items()]
    return "\n".join([
        HEAD, f"**Found**: in {count} runs of {len(safe)} rigs the phone's pins stay at or below\n"
        f"{top:.2f} V, and nothing is above its limit. What is not held stands below.\n",
        "## Rigs: the worst of all runs, and its limit", "", *_rigs(), "",
        "What follows a comma is changed from the example: the barn has the cut that `check` "
        "asks it to fit. `-`: nothing had to act; 0.0: the clamp begins before its latest volts. "
        "*let go after* counts from the last edge and has the ms in it that Q5 takes to open; the "
        "hold's tolerances stand under *Calculated*. What goes on in the end, at its worst: "
        + _stress() + ".", "",
        "## Mishaps: the worst over all rigs that hold", "",
        "Row: of [hazards.md](hazards.md). Degrees and volts: the part that comes nearest to its "
        "limit.", "", *_mishaps(), "",
        "## What is not protected", "", *_not_protected(), "",
        "A plain boost with its load switch on `enable`: releasing does not part the phone from "
        "the generator, so that the output's cut is all there is. `steadyturn check` says so "
        "(`single_fault_output_cut`). Fit a `bus_switch` or an `output_switch`.",
        NOT.format(**_backwards()),
        "## Calculated", "",
        "Equations and sources: `host/steadyturn/circuit/circuit.md`.", "", *_calculated(),
        "", "## What the simulation leaves out", "",
        *_table(["what", "how large, or why"], [list(row) for row in LEFT_OUT]), "",
        "## Pictures", "",
        "Volts over time, the mishap at 0; dotted: 5.5 V. Of the board's states the first of the "
        "table above.", "", *pictures]).rstrip() + "\n"
