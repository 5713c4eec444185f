"""Readings taken by hand at a motor or at the whole machine, and the meter they were read with;
those that a built machine's board takes, and its sensor.

Each field carries the `Spec` of a rig file (range, unit, how to take it), so that `file` reads
them with the rig file's reader. Volts, amperes and ohms as the meter showed them; what its
leads and its own error do to them is reckoned in `rows`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from steadyturn.rig.spec import MEMORY, PRACTICE, choice, number, text, whole

_CHEAP = "the sheets of 3 1/2 digit meters of 10 euros, " + MEMORY
_COUNT = "Count turns by a watch: turns = 60 and seconds = 42.5; or a drill's rpm."


@dataclass(frozen=True, kw_only=True)
class Meter:
    """A multimeter's class. percent: of the reading, for volts; amp_percent: for amperes;
    digits: of the last place. Both are read as what 95 of 100 such meters keep. lead_ohm: of
    its leads, and on the ampere range of its shunt and fuse too."""

    counts: int = whole("counts", 1000, 100_000, default=2000)
    percent: float = number("percent", "%", 0, 10, scale=0.01, typical=(0.5, 0.8, 1.5),
                            source=_CHEAP, how="In its sheet: 0.5 % + 2.")
    amp_percent: float = number("amp_percent", "%", 0, 20, scale=0.01, typical=(1, 1.5, 3),
                                source=_CHEAP)
    digits: int = whole("digits", 0, 50, default=2)
    lead_ohm: float = number("lead_ohm", "ohm", 0, 5, typical=(0.1, 0.2, 0.6), source=_CHEAP,
                             how="Its leads touching, on the lowest ohm range; on the 10 A range "
                             "its shunt adds some 0.01 ohm.")


@dataclass(frozen=True, kw_only=True)
class Bench:
    """What holds for all readings. gear: motor turns for one of the shaft that is counted (of
    a bare motor; a rig has its own). slots: of the commutator, 0 where not known. position: how
    much the ohms wander with the shaft's position, one reading, one standard deviation."""

    on: str = text("on", 10, default="")
    room_c: float = number("room_c", "degC", -20, 50, typical=(15, 20, 25), source=PRACTICE,
                           how="A thermometer beside the motor, which has lain there an hour.")
    room_within_k: float = number("room_within_k", "K", 0, 20, typical=(1, 2, 4), source=PRACTICE)
    slots: int = whole("slots", 0, 60, default=0)
    gear: float = number("gear_ratio", "", 0.05, 200, typical=(1, 1, 1), source="counted")
    position: float = number("position_percent", "%", 0, 30, scale=0.01, typical=(1, 2.5, 6),
                             source=PRACTICE)
    hand: float = number("hand_percent", "%", 0, 20, scale=0.01, typical=(0.5, 1, 3),
                         source=PRACTICE + "; a hand is never quite steady")
    watch_s: float = number("watch_s", "s", 0, 5, typical=(0.1, 0.2, 0.5), source=PRACTICE)


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """How far the board's sensor may be off, read as what 95 of 100 keep: of a reading, and
    besides."""

    volts: float = number("volts_percent", "%", 0, 20, scale=0.01, typical=(0.2, 0.3, 1),
                          source="INA226, " + MEMORY)
    volts_off_v: float = number("volts_mv", "mV", 0, 1000, scale=1e-3, typical=(5, 9, 20),
                                source="INA226, " + MEMORY)
    amps: float = number("amps_percent", "%", 0, 20, scale=0.01, typical=(0.5, 1.2, 3),
                         source="a shunt of 1 %, " + MEMORY)
    amps_off_a: float = number("amps_ma", "mA", 0, 1000, scale=1e-3, typical=(0.2, 0.3, 5),
                               source="INA226, 50 mohm, " + MEMORY)


def _resistor() -> tuple[Any, Any]:
    return (number("resistor_ohm", "ohm", 0.05, 100_000,
                   how="The colour rings or the print; a 1 % resistor is best."),
            number("resistor_percent", "%", 0, 20, scale=0.01, typical=(0.5, 1, 5),
                   source=PRACTICE))


@dataclass(frozen=True, kw_only=True)
class Locked:
    """A cell drives the held motor through a resistor: volts over each."""

    resistor_ohm: float = _resistor()[0]
    resistor: float = _resistor()[1]
    resistor_v: float = number("resistor_v", "V", 0.0001, 100)
    motor_v: float = number("motor_v", "V", 0.0001, 100)


@dataclass(frozen=True, kw_only=True)
class Paced:
    """What turns: counted turns of the handle or hand gear in seconds, or the motor's rpm
    (rpm_percent: how well it is known), or the handle's pace."""

    turns: float | None = number("turns", "", 1, 10_000, optional=True, how=_COUNT)
    seconds: float | None = number("seconds", "s", 1, 3600, optional=True, how=_COUNT)
    rpm: float | None = number("rpm", "rpm", 1, 100_000, optional=True, how=_COUNT)
    rpm_share: float = number("rpm_percent", "%", 0, 50, scale=0.01, typical=(0.5, 2, 5),
                              source=PRACTICE)
    pace_tpm: float | None = number("pace_tpm", "turns/min", 1, 1000, optional=True, how=_COUNT)


@dataclass(frozen=True, kw_only=True)
class Open(Paced):
    """Nothing connected but the meter. at: "motors" reads the mean; "bus" stands behind the
    diodes and the capacitor, which keep the peak."""

    volts: float = number("volts", "V", 0.001, 500)
    at: str = choice("at", ("motors", "bus"), default="motors")


@dataclass(frozen=True, kw_only=True)
class Loaded(Paced):
    """A known resistor across the terminals: volts over it. force_n: at the grip, where a
    spring balance turns the handle (the machine only)."""

    volts: float = number("volts", "V", 0.001, 500)
    resistor_ohm: float = _resistor()[0]
    resistor: float = _resistor()[1]
    at: str = choice("at", ("motors", "bus"), default="motors")
    force_n: float | None = number("force_n", "N", 0.1, 500, optional=True,
                                   how="A spring balance at the grip, at right angles to the arm.")
    force_share: float = number("force_percent", "%", 0.1, 50, scale=0.01, typical=(2, 5, 10),
                                source=PRACTICE)


@dataclass(frozen=True, kw_only=True)
class Short(Paced):
    """The meter's ampere range straight across the terminals: seconds only."""

    amps: float = number("amps", "A", 0.001, 100)
    at: str = choice("at", ("motors", "bus"), default="motors")


@dataclass(frozen=True, kw_only=True)
class Run(Paced):
    """The motor runs free from a supply; its speed counted where that can be done."""

    volts: float = number("volts", "V", 0.05, 200)
    amps: float = number("amps", "A", 0.0005, 100)


@dataclass(frozen=True, kw_only=True)
class Stall:
    """Torque at the held shaft at a current, by a lever and a balance. The friction that
    holds or helps is not known; it widens the reading."""

    torque_nm: float = number("torque_nm", "N m", 0.0001, 1000)
    torque_share: float = number("torque_percent", "%", 0.1, 50, scale=0.01, typical=(2, 5, 10),
                                 source=PRACTICE)
    amps: float = number("amps", "A", 0.001, 500)


@dataclass(frozen=True, kw_only=True)
class InOut:
    """The converter at one load: volts and amperes at both ends."""

    in_v: float = number("in_v", "V", 0.3, 120)
    in_a: float = number("in_a", "A", 0.0005, 50)
    out_v: float = number("out_v", "V", 0.3, 60)
    out_a: float = number("out_a", "A", 0, 50)


def _warm() -> Any:
    return number("warm_k", "K", 0, 300, typical=(0, 0, 10),
                  source="the rig's heat data and what flowed before")


@dataclass(frozen=True, kw_only=True)
class Plateau:
    """A steady pace as the board saw it: means of its sensor. pace: how well the mean is known;
    by: "turn_sensor", or "beat" of the lamp, which somebody follows. sway: standard deviation
    of the pace meanwhile; an open circuit's capacitor keeps the highest volts of it. warm_k: of
    the windings above the room, about."""

    volts: float = number("volts", "V", 0.05, 200)
    amps: float = number("amps", "A", 0, 100)
    pace_tpm: float = number("pace_tpm", "turns/min", 1, 1000)
    pace: float = number("pace_percent", "%", 0, 50, scale=0.01, typical=(0.2, 2, 5),
                         source=PRACTICE)
    by: str = choice("pace_by", ("beat", "turn_sensor"), default="beat")
    sway: float = number("sway_percent", "%", 0, 50, scale=0.01, typical=(1, 4, 10),
                         source=PRACTICE)
    warm_k: float = _warm()


@dataclass(frozen=True, kw_only=True)
class LoadStep:
    """Quick bursts round a step between two loads: volts over amperes between both of the
    source's currents, and by how much the handle gave way at once. pace_tpm: about; warm_k: of
    the windings above the room, about."""

    ohm: float = number("ohm", "ohm", 0.005, 1000)
    ohm_share: float = number("ohm_percent", "%", 0.01, 100, scale=0.01, typical=(1, 3, 10),
                              source="the burst's own fit")
    from_a: float = number("from_a", "A", 0, 100)
    to_a: float = number("to_a", "A", 0.001, 100)
    pace_tpm: float = number("pace_tpm", "turns/min", 1, 1000)
    gives: float | None = number("gives_ohm_per_s", "ohm/s", 0.001, 1e6, optional=True)
    gives_share: float = number("gives_percent", "%", 0.1, 400, scale=0.01, typical=(2, 10, 50),
                                source="the burst's own fit")
    warm_k: float = _warm()


KINDS: dict[str, type[Any]] = {"locked": Locked, "open": Open, "loaded": Loaded, "short": Short,
                               "run": Run, "stall": Stall, "in_out": InOut, "plateau": Plateau,
                               "step": LoadStep}
MACHINE = ("in_out", "plateau", "step")  # of a built machine only
TURNING = ("open", "loaded", "short", "run")


@dataclass(frozen=True)
class Readings:
    """All of a bench. items: (kind, reading) in the file's order; where: "FILE:LINE" of each,
    or "" where there is no file."""

    bench: Bench
    meter: Meter
    items: tuple[tuple[str, Any], ...]
    where: tuple[str, ...] = field(default=())
    sensor: Sensor = field(default_factory=Sensor)

    def named(self, index: int) -> str:
        """"locked 3": the third of its kind, counted from 1."""
        kind = self.items[index][0]
        return f"{kind} {sum(k == kind for k, _ in self.items[: index + 1])}"
