"""Words of the bringing-up: a resistor at the socket, a cheap USB load, the device."""

from __future__ import annotations

from typing import Any

from steadyturn.report.bringup_rows import Row, Said, at, resistor, row, span
from steadyturn.report.style import number
from steadyturn.rig import sensors

AMPS_SHARE = 0.03  # shunt of 1 %, chip and a cheap meter's amperes: data sheets, from memory
MOST_C = 60  # what a finger cannot stay on: common practice
DEVICES = {"phone": "phone", "power_bank": "power bank", "lantern": "lantern"}


def load(b: Any) -> dict[str, Said]:
    """Step -> its words, of the stages `resistor`, `usb` and `phone`."""
    if b.described.load.kind == "none":
        return {}
    return {**_resistor(b), **_letting_go(b), **_devices(b)}


def _loaded(b: Any) -> list[float]:
    return [r.pace_tpm for r in b.readings if r.name.startswith("load_bus_v@")]


def _resistor(b: Any) -> dict[str, Said]:
    rig, paces, on = b.described, _loaded(b), b.connects
    sensor, most_v = rig.sensor, rig.load.max_v
    shown = [] if on is None else [Row(
        "it connects at about", f"{on.connect_tpm:.0f} turns/min, {number(on.connect_v)} V on the "
        "unloaded bus", "turns/min")]
    rows: list[Row] = []
    for pace in paces:
        rows += [*at(b, "load_bus_v", "converter's input", [pace]),
                 *at(b, "load_out_v", "socket", [pace])]
    amps = at(b, "load_bus_a", "into the converter", paces)
    return {
        "connects": Said(
            "It connects",
            (f"All wired, cap off J1, {resistor(b, 'dummy')} at the socket's 5 V and ground, "
             "meter there too. Turn by the lamp, slowly faster.",),
            tuple(shown), f"the socket shows more than {number(most_v)} V at any moment.",
            "Never: count the lamp's flashes; is the bus above the volts named here? See 'never "
            "connects' below."),
        "loaded": Said(
            "Under load, at the band's ends and its target",
            ("A turn by the watch for half a minute at each pace; read the converter's input and "
             "the socket.",), tuple(rows),
            f"the socket leaves 4.75 to {number(most_v)} V inside the band.",
            "Input too low everywhere, open volts right: more ohms than the rig says (winding "
            "hot, leads, brushes). Input right, socket low: converter, screw, leads behind it."),
        "amps": Said(
            "The sensor's current",
            (f"'steadyturn watch' and the meter's 10 A range in the wire to the converter. "
             f"{sensors.name(sensor)}, shunt {number(1000 * sensor.shunt_ohm)} mohm.",),
            (*amps, Row("meter less 'watch'", f"within {100 * AMPS_SHARE:.0f} %", "A")),
            "they differ by more than 10 %.",
            "By a constant share: shunt_mohm, or the sense wires are not at the shunt's own legs. "
            "Zero or negative: IN+ and IN- swapped. A little: 'steadyturn calibrate'."),
        "fastest": Said(
            "The load goes at the fastest pace",
            (f"Meter with its min/max key at the socket. Cover on. Turn as fast as you can, "
             f"{b.fastest_tpm:.0f} turns/min at most, and have somebody pull the resistor off. "
             "Then the same with the cap on J1.",),
            (Row("highest at the socket", f"at most {number(most_v)} V", "V"),
             Row("highest on the bus", f"at most {number(_most_bus(b))} V", "V")),
            f"the socket passes {number(most_v)} V once, however short. No phone, ever, until "
            "that is mended.", "The output's cut, its coil and capacitor: wires longer than a "
            "hand's breadth; C11 not a polymer one."),
        "warm": Said(
            "Ten minutes at the target",
            ("Then feel converter, diode, switch, Q1, motors and their mount.",),
            (Row("hottest part", f"below {MOST_C} degC", "degC"),
             Row("motors' mount", f"below {rig.bank.mount_max_c:.0f} degC", "degC")),
            "a part is too hot to keep a finger on (the dummy load is: leave it).",
            "Diode: too small a type. Switch: its gate gets too few volts. Converter: too weak."),
    }


def _most_bus(b: Any) -> float:
    """A clamp or nothing stands between the hand and the bus; the reading's 5 % beside it."""
    low = b.fastest_v if b.protected is None else min(b.fastest_v, b.protected.clamp_v[1])
    return float(low)


def _letting_go(b: Any) -> dict[str, Said]:
    on, guard = b.connects, b.protected
    hold = "" if guard is None else (
        f"{1000 * guard.hold_s[0]:.0f} to {1000 * guard.hold_s[1]:.0f} ms after the last pulse")
    soon = (f"The load goes {hold}; at the meter: at once." if hold else "The load goes at once.")
    volts = "" if on is None else f", at {number(on.release_v)} V on the bus or above"
    gone = Row("socket after a second", "below 0.5 V", "V")
    stop = "the socket keeps its volts."
    return {
        "stops": Said("Let go by the board", (f"Connected; stop turning. It lets go{volts}.",),
                      (gone,), stop),
        "pulses": Said(
            "No pulses, no load",
            (f"Connected and turning: pull the wire of the board's switch pin. {soon}",),
            (gone,), stop, "It stays: C5 and C6 (one shorted?), R11, R12, U3's threshold."),
        "let_go": Said(
            "The let-go pin",
            ("Connected and turning: join Q2's gate with 3.3 V for a moment. It "
             "lets go at once.",), (gone,), stop, "Q2's legs, R15."),
        "alert": Said(
            "The alert's wire",
            ("Connected and turning: join the sensor's ALERT pin with ground for a moment. It "
             "lets go without the program.",), (gone,), stop, "R40, D12; the wire to the hold."),
        **_bus_cut(b, gone),
        "dead_board": Said("A dead board lets go", _dead(b, soon), (gone,), stop,
                           "As with the pulses."),
    }


def _bus_cut(b: Any, gone: Row) -> dict[str, Said]:
    guard = b.protected
    if guard is None or guard.bus_cut_trial is None:
        return {}
    trial = guard.bus_cut_trial
    return {"bus_cut": Said(
        "The bus cut, brought low",
        (f"Lay {resistor(b, 'bus_cut_trial')} across R18 (the upper arm of the bus cut's "
         f"divider): it now acts at {span(trial.low_v, trial.high_v, 'V')}, below what it "
         "watches. At the target pace the load must go, at once, and comes again without the "
         "resistor.",),
        (gone,), "the socket keeps its volts: there is no second cut.", "U4, Q3, Q4, R18, R19.")}


def _dead(b: Any, soon: str) -> tuple[str, ...]:
    feed = b.described.supply.feed
    how = {"crank": "pull the wire to the board's VSYS (laptop unplugged)",
           "cell": "take the board's cell away (laptop unplugged)",
           "usb": "unplug the board's power bank"}[feed]
    return (f"Connected and turning: {how}. {soon}",)


def _devices(b: Any) -> dict[str, Said]:
    rig = b.described
    if not any(r.name == "device_v" for r in b.readings):
        return {}
    device = DEVICES.get(rig.load.kind, "device")
    told = rig.load.advertised_a or 0.5
    rows = [row(b, "device_v", f"at the {device}'s plug"),
            row(b, "device_a", f"into the {device}"),
            row(b, "device_bus_v", "converter's input"),
            row(b, "device_bus_a", "into the converter")]
    return {
        "usb_look": Said(
            "The plug's poles",
            ("A USB meter, or an old cable cut open, at the socket; nothing behind it. Turn in "
             "the band.",), (Row("red to black", span(4.75, rig.load.max_v, "V"), "V"),),
            "minus shows, or more than that."),
        "usb_load": Said(
            "A cheap USB load",
            ("A lamp, a fan, an old power bank: something you can do without. Ten minutes by the "
             "lamp.", f"The socket tells {number(told)} A; it should take no more."),
            (Row("its current", f"at most {number(told)} A", "A"),
             Row("its volts", span(4.5, rig.load.max_v, "V"), "V")),
            "it flickers, smells or gets hot.",
            "Connects and lets go every few seconds: it asks for more than the machine gives "
            "(hardware/usb_output.md)."),
        "usb_unplug": Said(
            "Plug pulled",
            ("Pull it at the target pace and at the fastest, ten times. Then look whether the "
             "load still works.",), (), "it does not."),
        "device": Said(
            f"The {device}",
            ("An old one first. Switched on, at 20 to 80 percent, dry, neither hot nor cold. One "
             f"cable only. Turn at {b.target_tpm:.0f} turns/min.",
             "A USB meter between shows what it takes."), tuple(rows),
            "it warns, gets hot or shows no charging after a minute.",
            "Charging comes and goes: see 'connects and lets go'. Current far lower: a full "
            "battery, a thin cable, a device that wants to be told more."),
        "device_warm": Said(
            "Half an hour",
            ("Look at the device every few minutes, then at the machine.",),
            (Row("device's back", "below 45 degC (warm, not hot)", "degC"),),
            "it is hot, or swells."),
        "season": Said(
            "Before each season and after each repair",
            ("Again: cuts and clamp brought low, the fastest pace on the resistor, pulses, "
             "alert. Some of these fail unseen (hardware/hazards.md).",)),
    }
