"""The power path of a rig as a netlist for ngspice, from the parts table; circuit.md.

Each part becomes what spice_models.py says of its kind. A part that fails does so at T0_S:
a switch shorts two of its pins, or parts one of its wires.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from steadyturn.circuit import spice_models as models
from steadyturn.circuit.hold import EDGE_S
from steadyturn.circuit.table import PINS, Part
from steadyturn.circuit.values import Design
from steadyturn.model.bank import emf_v_per_tpm
from steadyturn.model.motor import PEAK_OVER_MEAN, ohm_at
from steadyturn.rig.types import Rig

T0_S, RUN_S, RAMP_S = 0.06, 0.42, 0.05
DYING_S = 5e-3  # a supply that is cut: 100 uF at 20 mA
LATE_S = 0.045  # firmware/budget.md: from an over-voltage to the let-go pin
PHONE_F = 10e-6  # a device's input: USB 2.0 7.2.4.1, 10 uF at most
FAULT = "fault"  # node: 0 before, 1 after T0_S
# the pin whose wire breaks, where it is not the first
BROKEN_PIN = {"pmos": "source", "pnp": "emitter", "darlington": "emitter", "nmos": "drain",
              "reference": "reference", "comparator": "output", "converter": "input"}


@dataclass(frozen=True)
class Drive:
    """What happens. before_tpm until T0_S, then a ramp to after_tpm within RAMP_S.

    load: "stays", "none", "full" (draws nothing from T0_S on) or "pulled" (then). firmware:
    "acts" (sees an over-voltage of over_v and lets go LATE_S later), "holds" (pulses for
    ever), "dead" (no supply from T0_S on), "silent" (no edge after T0_S), "released" (never
    an edge; all behind the switch is empty). opens, closes: parts whose wire breaks, or makes
    contact; shorts: (end, end, ohm), an end being "Q5.drain" or a net; set_v: the converter's
    set point; pins: board nets held at volts; all from T0_S on. bus_v: the bus at the start.
    """

    before_tpm: float
    after_tpm: float
    load: str = "stays"
    firmware: str = "acts"
    over_v: float = 1e3
    opens: tuple[str, ...] = ()
    closes: tuple[str, ...] = ()
    shorts: tuple[tuple[str, str, float], ...] = ()
    set_v: float | None = None
    pins: Mapping[str, float] = field(default_factory=dict)
    bus_v: float = 0.0


def netlist(rig: Rig, parts: Sequence[Part], made: Design, drive: Drive) -> str:
    """Without analysis and options. Nets keep their names; "gnd" is 0."""
    lines = [models.MODELS, f"Vfault {FAULT} 0 PULSE(0 1 {T0_S!r} 100n 100n 10 20)",
             f"Vpace pace 0 PWL(0 {drive.before_tpm!r} {T0_S!r} {drive.before_tpm!r} "
             f"{T0_S + RAMP_S!r} {drive.after_tpm!r})"]
    for part in parts:
        maker = MAKERS.get(part.kind)
        if maker is None:
            continue
        if part.ref in (*drive.opens, *drive.closes):
            broken, breaker = _broken(part, "whole" if part.ref in drive.opens else FAULT)
            lines += [*maker(broken, rig, made, drive), breaker]
        else:
            lines += maker(part, rig, made, drive)
    by_ref = {part.ref: part for part in parts}
    for i, (one, other, ohm) in enumerate(drive.shorts):
        # where each row of motors has a diode, the first one's
        first = "string0" if one == "motor" and rig.bank.diode_each else one
        lines += [f"Sshort{i} {_end(first, by_ref)} short{i} {FAULT} 0 closer",
                  f"Rshort{i} short{i} {_end(other, by_ref)} {ohm!r}"]
    return "\n".join([*lines, *board(drive), *phone(rig, drive)])


def _end(name: str, by_ref: Mapping[str, Part]) -> str:
    ref, _, pin = name.partition(".")
    return _net(by_ref[ref].pin(pin) if pin else name)


def _net(name: str) -> str:
    return "0" if name == "gnd" else name


def _broken(part: Part, control: str) -> tuple[Part, str]:
    """The part behind a switch in one of its wires, shut while `control` is 1."""
    pin = BROKEN_PIN.get(part.kind, PINS[part.kind][0])
    at = PINS[part.kind].index(pin)
    behind = f"broken_{part.ref}"
    nets = (*part.nets[:at], behind, *part.nets[at + 1:])
    wire = f"S{behind} {_net(part.nets[at])} {behind} {control} 0 opener"
    return replace(part, nets=nets), wire


Maker = Callable[[Part, Rig, Design, Drive], list[str]]


def _nets(part: Part) -> str:
    return " ".join(_net(net) for net in part.nets)


def _resistor(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    return [f"R{part.ref} {_nets(part)} {part.amount!r}"]


def _capacitor(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    if part.ref == "C1":
        return []  # stands with its motor
    ohm = models.ESR_OHM[part.kind]
    start = _start_v(part, rig, made, drive)
    one, other = (_net(net) for net in part.nets)
    return [f"C{part.ref} {one} {part.ref}_in {part.amount!r} ic={start!r}",
            f"R{part.ref}_esr {part.ref}_in {other} {ohm!r}"]


def _start_v(part: Part, rig: Rig, made: Design, drive: Drive) -> float:
    out = rig.converter.out_v
    if drive.firmware == "released" and part.nets[0] in ("out", "vbus", "hold"):
        return 0.0
    return {"bus": drive.bus_v, "out": out, "vbus": out, "hold": made.hold.full_v,
            "reservoir": rig.supply.reservoir_max_v - 0.3, "board_3v3": 3.3,
            "divided": drive.bus_v / rig.sensor.divider}.get(part.nets[0], 0.0)


def _coil(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    one, other = (_net(net) for net in part.nets)
    return [f"L{part.ref} {one} {part.ref}_in {part.amount!r}",
            f"R{part.ref}_coil {part.ref}_in {other} {models.COIL_OHM!r}"]


def _fuse(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    return [f"R{part.ref} {_nets(part)} 0.02"]


def _link(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    return []  # not fitted unless a mishap shorts it


def _diode(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    one, other = (_net(net) for net in part.nets)
    if part.ref == "D1":
        return []  # with the motors
    return [f"V{part.ref} {one} {part.ref}_in 0", f"D{part.ref} {part.ref}_in {other} {part.kind}"]


def _zener(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    return [f"D{part.ref} {_nets(part)} z_{part.ref}",
            f".model z_{part.ref} D(Bv={part.amount!r} Ibv=1m Rs={models.ZENER_OHM} Is=1f)"]


def _mosfet(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    gate, drain, source = (_net(net) for net in part.nets)
    return [f"M{part.ref} {drain} {gate} {part.ref}_s {part.kind}",
            f"V{part.ref} {source} {part.ref}_s 0"]


def _pnp(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    base, collector, emitter = (_net(net) for net in part.nets)
    return [f"V{part.ref} {emitter} {part.ref}_e 0",
            f"Q{part.ref} {collector} {base} {part.ref}_e pnp"]


def _darlington(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    base, collector, emitter = (_net(net) for net in part.nets)
    return [f"V{part.ref} {emitter} {part.ref}_e 0",
            f"X{part.ref} {base} {collector} {part.ref}_e darlington"]


def _reference(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    trip = {"U1": made.clamp.trip, "U4": made.trip, "U6": made.cut}[part.ref]
    late = trip.high_v / trip.nominal_v  # every tolerance at its worst
    cathode, anode, pin = (_net(net) for net in part.nets)
    return [f"V{part.ref} {cathode} {part.ref}_k 0",
            f"X{part.ref} {part.ref}_k {anode} {pin} reference vref={2.495 * late!r}"]


def _subcircuit(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    more = f" vout={part.amount!r}" if part.kind == "regulator" else ""
    return [f"X{part.ref} {_nets(part)} {part.kind}{more}"]


def _motor(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    """Every motor, cold, the peaks of its EMF, its winding; and the diodes behind them."""
    lines: list[str] = []
    each_v = PEAK_OVER_MEAN * emf_v_per_tpm(rig, rig.air.cold_c) / rig.bank.series
    ohm = float(ohm_at(rig.motor, rig.air.cold_c))
    bridge = rig.rectifier.kind == "bridge"
    for string in range(rig.bank.parallel):
        below = "back" if bridge else "0"
        for i in range(rig.bank.series):
            n = f"{string}_{i}"
            top = f"m{n}"
            lines += [f"Vbelow{n} below{n} {below} 0",
                      f"Bemf{n} e{n} {below} V={each_v!r}*v(pace)", f"Rwind{n} e{n} r{n} {ohm!r}",
                      f"Lwind{n} r{n} {top} {rig.motor.inductance_h!r}",
                      f"Csup{n} {top} {below} 100n"]
            below = top
        end = f"string{string}" if rig.bank.diode_each else "motor"
        lines += [f"Vstring{string} {below} {end} 0"]
        if rig.bank.diode_each:
            lines += _rectifier(f"string{string}", f"s{string}", bridge)
    if not rig.bank.diode_each:
        lines += _rectifier("motor", "", bridge)
    return lines


def _rectifier(start: str, name: str, bridge: bool) -> list[str]:
    if not bridge:
        return [f"VD1{name} {start} D1{name}_in 0", f"DD1{name} D1{name}_in raw schottky"]
    return [f"DD1{name}a {start} raw schottky", f"DD1{name}b back raw schottky",
            f"DD1{name}c 0 {start} schottky", f"DD1{name}d 0 back schottky"]


def _converter(part: Part, rig: Rig, made: Design, drive: Drive) -> list[str]:
    """Averaged: a current into its output that holds the set point, and the power for it at
    its input; a boost has its coil and diode between the two at all times."""
    c = rig.converter
    into, out, on = (_net(part.pin(name)) for name in ("input", "output", "enable"))
    after = c.out_v if drive.set_v is None else drive.set_v
    enabled = f"0.5*(1+tanh((v({on})-1.2)/0.1))" if rig.switch.place == "enable" else "1"
    least = c.stop_v if c.kind in ("boost", "buck_boost") else c.out_v + c.headroom_v
    lines = [
        f"Bset set 0 V={c.out_v!r}+({after!r}-{c.out_v!r})*v({FAULT})+0.02",
        f"Bgive 0 {out} I=v(works)*min(max(25*(v(set)-v({out})),0),{c.out_limit_a!r})",
        f"Bworks works_at 0 V={enabled}*0.5*(1+tanh((v({into})-{least!r})/0.05))",
        "Rworks works_at works 1k", "Cworks works 0 10n",
        f"Btake {into} 0 I=v(works)*1.15*v({out})*min(max(25*(v(set)-v({out})),0),"
        f"{c.out_limit_a!r})/max(v({into}),1)",
        f"C{part.ref}_in {into} 0 47u"]
    if c.kind == "boost":
        lines += [f"L{part.ref} {into} {part.ref}_a {models.FAILED_H!r}",
                  f"R{part.ref} {part.ref}_a {part.ref}_b {models.FAILED_OHM!r}",
                  f"D{part.ref} {part.ref}_b {out} schottky"]
    return lines


def board(drive: Drive) -> list[str]:
    """Its pulses, let-go pin and supply, and what the firmware does. A rising edge falls on
    T0_S; a hung board makes that one and stays high: the longest hold."""
    goes_on = {"dead": f"(1-v({FAULT}))", "released": "0"}.get(drive.firmware, "1")
    sees = f"v(bus) > {drive.over_v!r}" if drive.firmware == "acts" else "0 > 1"
    falls = T0_S + DYING_S if drive.firmware == "dead" else 10.0
    nets = {"board_switch": f"3.3*v(ticks)*{goes_on}*(1-v(seen))",
            "board_let_go": "3.3*v(seen)", "board_3v3": "3.3*v(alive)"}
    first = T0_S - 2 * EDGE_S
    edges = (f"PWL(0 0 {first!r} 0 {first + 1e-6!r} 1 {first + EDGE_S!r} 1 "
             f"{first + EDGE_S + 1e-6!r} 0 {T0_S!r} 0 {T0_S + 1e-6!r} 1)")
    if drive.firmware != "silent":
        edges = f"PULSE(0 1 {first!r} 1u 1u {EDGE_S!r} {2 * EDGE_S!r})"
    lines = [f"Vticks ticks 0 {edges}", f"Bwhole whole 0 V=1-v({FAULT})",
             f"Valive alive 0 PWL(0 1 {falls - DYING_S!r} 1 {falls!r} 0)",
             f"Blate 0 late I=((({sees}) || (v(late) > 1u)) && (v(late) < 2)) ? "
             f"{1 / LATE_S!r} : 0",
             "Clate late 0 1 ic=0", "Rlate late 0 1g",
             "Bseen seen 0 V=0.5*(1+tanh((v(late)-1)/1m))"]
    for net, given in nets.items():
        held = drive.pins.get(net)
        volts = given if held is None else f"{given}+v({FAULT})*({held!r}-({given}))"
        lines += [f"Bpin_{net} pin_{net} 0 V={volts}", f"Rpin_{net} pin_{net} {net} 30"]
    lines += [f"Bhost host 0 V=v({FAULT})*{drive.pins.get('board_vbus', 0.0)!r}",
              "Vhost host host_out 0", "Rhost host_out board_vbus 0.3",
              "Vadc divided adc_pin 0", "Dadc adc_pin pin_board_3v3 silicon",
              "Radc divided 0 1meg"]
    return lines


def phone(rig: Rig, drive: Drive) -> list[str]:
    """A device at the socket: draws less where its input sags; its capacitor goes with it."""
    load, keeps = rig.load, {"stays": "1", "none": "0"}.get(
        drive.load, f"(1-v({FAULT}))")
    share = f"min(max((v(vbus)-{load.min_v!r})/{load.sag_v - load.min_v!r},0),1)"
    there = "whole" if drive.load == "pulled" else "there"
    start = 0.0 if drive.firmware == "released" else rig.converter.out_v
    return ["Vthere there 0 1", f"Bphone vbus 0 I={load.draw_a!r}*{keeps}*{share}",
            f"Sphone vbus phone {there} 0 closer",
            f"Cphone phone 0 {PHONE_F!r} ic={start!r}",
            "Bboard_load reservoir 0 I=0.024*min(max(v(reservoir)/2,0),1)",
            "Rreservoir reservoir 0 1meg"]


MAKERS: dict[str, Maker] = {
    "motor": _motor, "resistor": _resistor, "capacitor": _capacitor, "electrolytic": _capacitor,
    "coil": _coil, "fuse": _fuse, "link": _link, "schottky": _diode, "small_schottky": _diode,
    "zener": _zener, "pmos": _mosfet, "nmos": _mosfet, "pnp": _pnp, "darlington": _darlington,
    "reference": _reference, "comparator": _subcircuit, "regulator": _subcircuit,
    "converter": _converter,
}
