"""Fault finding by symptom: causes, the likeliest first, what decides, what mends it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from steadyturn.report.style import number


@dataclass(frozen=True)
class Cause:
    cause: str
    test: str
    remedy: str


@dataclass(frozen=True)
class Symptom:
    """causes: the likeliest first; common practice, no source."""

    what: str
    causes: tuple[Cause, ...]


def symptoms(b: Any) -> tuple[Symptom, ...]:
    """Those that this rig can have."""
    return (*_source(b), *_board(b), *_output(b))


def _source(b: Any) -> Iterator[Symptom]:
    rig, bank = b.described, b.described.bank
    single = rig.rectifier.kind == "schottky"
    rows = [Cause("a lead or a brush is open", "ohms at the motor's leads", "solder; press the "
                  "brush, clean the commutator")]
    if bank.series > 1:
        rows.append(Cause("one motor of the row is the wrong way round", "volts of each motor",
                          "swap its leads"))
    rows += [Cause("the pinion slips on the shaft", "mark both, turn ten times",
                   "flat and grub screw, a drop of glue")]
    if single:
        rows.insert(0, Cause("turned the wrong way", "turn the other way", "swap the leads"))
    yield Symptom("No volts on the bus, the handle turns lightly", (
        *rows, Cause("the fuse is blown", "beeper across it", "look for the short first")))
    yield Symptom("Handle heavy with nothing connected", (
        Cause("a short on the bus, or the clamp acts", "pull the fuse: does it turn lightly?",
              "ohms of bus to ground; Q1, C2"),
        Cause("gears too deep in mesh, dry, a cable tie", "pull the motors' leads: still heavy?",
              "mechanics.md"),
        *([Cause("rows in parallel drive each other", "part them", "a diode each")]
          if bank.parallel > 1 and not bank.diode_each else []),
        Cause("a motor is shorted inside", "ohms, one by one", "another motor")))
    yield Symptom("The handle turns by itself, or kicks when let go", (
        Cause("the diode is shorted", "bus emptied: ohms both ways through it",
              "a new one, of more volts"),
        Cause("the train's own momentum", "the bus empty: does it still?", "let it run down in "
              "your hand, or a one-way clutch (mechanics.md)")))
    yield Symptom("Open volts right, loaded volts far too low", (
        Cause("contact: a breadboard hole, a terminal, a thin lead", "volts along the plus wire "
              "under load, piece by piece", "screw, solder, thicker wire"),
        Cause("ohms of the motor higher than the rig says", "the ratio of volts (stage 1)",
              "write them into the rig; 'steadyturn pace'"),
        Cause("a silicon diode instead of a Schottky", "volts across it: 0.7 or 0.3",
              "another one, or drop_v in the rig"),
        Cause("the load asks for more than it should", "ampere at the socket",
              "hardware/usb_output.md")))
    yield Symptom("Motor too hot to hold", (
        Cause("too much load for too long", "current against the rig's max_a",
              "rest; a slower target, another motor"),
        Cause("no air, rubbing parts", "listen, feel", "free it")))


def _board(b: Any) -> Iterator[Symptom]:
    rig = b.described
    steps = {key for stage in b.stages for key in stage.steps}
    feed = {"crank": Cause("the board's supply from the bus", "reservoir's volts while turning",
                           "D9, U7, D10, C12"),
            "cell": Cause("the board's cell is empty", "its volts under load", "another cell"),
            "usb": Cause("the board's power bank slept in", "press its button",
                         "one that does not turn itself off")}[rig.supply.feed]
    yield Symptom("No sign of the lamp", (
        feed, Cause("the lamp's wire or its resistor", "on a laptop: does 'watch' show a cue?",
                    "wire; polarity of an LED"),
        Cause("no firmware, no settings", "'steadyturn ports'", "'steadyturn flash RIG'"),
        Cause("the board is dead", "3.3 V at its pin?", "another board; the bypass meanwhile")))
    yield Symptom("The lamp counts long flashes", (
        Cause("a fault: their number is its name", "count twice", "the table of faults below"),))
    connect = "" if b.connects is None else (
        f" (it wants {b.connects.connect_tpm:.0f} turns/min and "
        f"{number(b.connects.connect_v)} V)")
    yield Symptom("Never connects", (
        Cause(f"too slow, or too few volts{connect}", "'watch' names the reason",
              "turn faster; else the open volts of stage 2"),
        Cause("the hold gets no pulses", "C7 while the lamp is steady: above 0.5 V?",
              "switch pin's wire, R9, C5, C6, D2, D3"),
        *([Cause("the let-go pin is stuck high", "Q2's gate: 0 V?", "its wire, R17")]
          if "let_go" in steps else []),
        *([Cause("the alert is low for good", "ALERT pin: 3.3 V?", "its wire, R40, D12")]
          if "alert" in steps else []),
        *([Cause("the bus cut holds it: the unloaded bus stands too high", "slower: does it?",
                 "turn slower; R18, R19")]
          if b.protected is not None and b.protected.bus_cut_trial is not None else []),
        Cause("Q5 or U3", "Q5's gate pulled low while connected?", "legs, a new one")))
    yield Symptom("Connects and lets go, again and again", (
        Cause("more load than the pace carries", "'watch': reason low_bus",
              "turn faster, a load that takes less"),
        Cause("the socket tells too much", "a USB meter: above the advertised current?",
              "hardware/usb_output.md"),
        Cause("contacts", "shake each wire while turning", "screw, solder"),
        Cause("the converter stops early", "its input as it goes: above the rig's stop_v?",
              "stop_v in the rig, 'steadyturn flash'")))
    yield Symptom("Stays connected when it must let go", (
        Cause("the cap is on J1", "look", "take it off"),
        Cause("Q5 is shorted, or the wrong way round", "ohms across J1, all at rest",
              "a new one"),
        Cause("a coupling capacitor is shorted, U3's inputs swapped", "pull the switch pin's wire",
              "C5, C6; U3")))
    yield Symptom("'watch' and meter disagree", (
        Cause("sense wires not at the shunt's own legs", "volts across the shunt itself",
              "move them"),
        Cause("divider or shunt_mohm are not what the rig says", "ohms, the print on the shunt",
              "the rig file, 'steadyturn flash'"),
        Cause("ground runs over the laptop's cable too", "unplug what else is plugged in",
              "one star ground")))
    if rig.sensor.turn_pulses:
        yield Symptom("Turns counted wrongly (fault 8)", (
            Cause("a gear or pinion slips", "mark wheels", "mechanics.md"),
            Cause("magnets or distance", "ten turns by hand", "hardware/turn_and_load.md")))


def _output(b: Any) -> Iterator[Symptom]:
    rig = b.described
    most = number(rig.load.max_v)
    boost = rig.converter.kind == "boost"
    yield Symptom(f"Socket above {most} V, for however short", (
        *([Cause("a boost above its set point passes its input through",
                 "input at the same moment: above the set point?",
                 "the output's cut; a slower pace; a buck-boost")] if boost else []),
        Cause("the converter's screw", "on cells, nothing connected", "set it, lock it"),
        Cause("the cut does not act", "the cut brought low (stage 3)", "U6, Q6, Q7, R29, R30"),
        Cause("a broken converter", "output follows the input", "throw it away")))
    yield Symptom("Volts right, nothing charges", (
        Cause("cable", "another one, with data wires", "a short thick one"),
        Cause("the device wants to be told something", "a USB meter: 0 or 0.1 A?",
              "data lines or CC resistors (hardware/usb_output.md)"),
        Cause("a C socket with one resistor for both pins", "turn the plug over",
              "a resistor on each CC pin")))
    yield Symptom("Charges, but slowly", (
        Cause("its screen is on, it is warm, or above 80 %", "the same switched off",
              "'steadyturn charge RIG' says what to expect"),
        Cause("thin cable", "volts at its far end under load", "cable_awg, cable_m")))
