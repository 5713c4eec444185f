"""The single-fault rule: with any one part failed, how many volts may the device see?

The worst is asked for: a hand that runs away as its load goes, a cold machine, and whatever
hardware still works. Firmware and alert release too, but are not counted: a hand can run away
within the firmware's 45 ms, and a boost passes that on (`circuit/circuit.md`, tried in
`hardware/protection.md`). hardware/hazards.md has the whole table.
"""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.model.converter import passes_when_off
from steadyturn.model.hazards import clamp_w, let_go_tpm, open_circuit_v
from steadyturn.rig.types import Rig

# what fails -> in words
FAILURES = {
    "firmware": "if the firmware fails",
    "switch": "if the load switch no longer releases",
    "sensor": "if the sensor reads wrong",
    "alert": "if the alert's wire breaks",
    "bus_clamp": "if the bus clamp breaks",
    "bus_cut": "if the bus cut does not act",
    "output_cut": "if the output cut does not act",
    "converter": "if the converter's transistor fails shorted",
}


@dataclass(frozen=True)
class Fault:
    """volts: the most the device sees with `failed` not working; left: what still holds it."""

    failed: str
    volts: float
    left: tuple[str, ...]


def isolates(rig: Rig) -> bool:
    """Does releasing the load part the device from a converter that passes?

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> isolates(read_rig(example_path("lakeside-hut")))
    True
    """
    return rig.switch.place != "enable" or not passes_when_off(rig.converter)


def device_v(rig: Rig, failed: str, high_tpm: float | None) -> Fault:
    """The most the device sees with that one part failed, from a band that ends at high_tpm."""
    converter = rig.converter
    drop = converter.pass_drop_v if converter.kind == "boost" and failed != "converter" else 0.0
    if converter.kind != "boost" and failed != "converter":
        return Fault(failed, converter.out_v, ("converter",))
    holds = {name: volts for name, volts in _barriers(rig, drop).items()
             if not _lost(name, failed)}
    open_v = float(open_circuit_v(rig, let_go_tpm(high_tpm or 0.0)))
    passed = min([open_v - drop, *holds.values()])
    return Fault(failed, max(passed, converter.out_v),
                 tuple(sorted(name for name, volts in holds.items() if volts <= rig.load.max_v)))


def _barriers(rig: Rig, drop: float) -> dict[str, float]:
    """What can hold the device, and at how many volts it does."""
    p = rig.protection
    found = {}
    open_v = open_circuit_v(rig, let_go_tpm(0.0))
    if p.bus_clamp_v is not None and float(clamp_w(rig, open_v)) <= (p.bus_clamp_w or 0.0):
        found["bus_clamp"] = p.bus_clamp_v - drop
    if p.output_cut_v is not None:
        found["output_cut"] = p.output_cut_v
    if p.bus_cut_v is not None and isolates(rig):
        found["bus_cut"] = p.bus_cut_v - drop
    return found


def _lost(barrier: str, failed: str) -> bool:
    """Does this barrier not act with that part failed? The bus's cut acts through the switch."""
    return barrier == failed or (failed == "switch" and barrier == "bus_cut")


def single_faults(rig: Rig, high_tpm: float | None) -> list[Fault]:
    """Failures of one part that put more on the device than it bears, worst first.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> [len(single_faults(read_rig(example_path(name)), 90.0))
    ...  for name in ("lakeside-hut", "night-ferry", "radio-tent")]
    [0, 0, 0]
    """
    if rig.load.kind == "none":
        return []
    fitted = {"bus_clamp": rig.protection.bus_clamp_v, "bus_cut": rig.protection.bus_cut_v,
              "output_cut": rig.protection.output_cut_v, "alert": rig.sensor.alert or None}
    found = [device_v(rig, failed, high_tpm) for failed in FAILURES
             if fitted.get(failed, 0.0) is not None]
    return sorted((f for f in found if f.volts > rig.load.max_v), key=lambda f: -f.volts)
