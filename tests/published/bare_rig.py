"""A rig with nothing between EMF and converter and nothing lost: textbook circuits."""

from __future__ import annotations

from dataclasses import replace

from steadyturn.rig.types import (
    RPM,
    Air,
    Arm,
    Bank,
    Board,
    Bus,
    Converter,
    Crank,
    Load,
    Motor,
    Protection,
    Rectifier,
    Rig,
    Sensor,
    Stage,
    Supply,
    Switch,
)

PACE = 60.0


def thevenin(emf_v: float, ohm: float, power_w: float, **parts) -> Rig:
    """EMF at PACE turns/min behind ohm, loaded with constant power by a lossless
    converter that feeds a resistor."""
    rig = Rig(
        name="textbook", motor=Motor(emf_v_s=emf_v / (PACE * RPM), terminal_ohm=ohm, no_load_a=0.0,
                                     brush_drop_v=0.0),
        bank=Bank(), stages=(Stage(ratio=1.0, efficiency=1.0),), crank=Crank(friction_nm=0.0),
        rectifier=Rectifier(kind="none"), bus=Bus(bleed_ohm=1e15),
        converter=Converter(kind="buck_boost", out_v=10.0, loss_w=0.0, loss_v=0.0, loss_ohm=0.0,
                            start_v=0.2, stop_v=0.1, max_in_v=1000.0, in_limit_a=1e4,
                            out_limit_a=1e4),
        switch=Switch(place="enable", on_ohm=0.0), protection=Protection(),
        supply=Supply(feed="usb"),
        load=Load(kind="resistor", resistance_ohm=100.0 / power_w, cable_m=0.0),
        arm=Arm(), air=Air(), sensor=Sensor(shunt_ohm=0.0), board=Board())
    return replace(rig, **parts)
