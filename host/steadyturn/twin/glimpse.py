"""What a virtual board shows of itself: one moment, and the truth about all of it."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.model.dynamics import Machine
from steadyturn.model.load import stored_share_per_j
from steadyturn.rig.types import RPM
from steadyturn.twin.engine import OFF, Engine
from steadyturn.twin.plant import Plant, Switching


@dataclass(frozen=True, slots=True)
class Glimpse:
    """One moment of the real thing, as no board can see it.

    pace_tpm, turns: of the handle; bus_v, bus_a: into the converter, at the sensor;
    out_*: at the device's socket; light: of the lamp, 0 to 1; percent: gained by the
    device since the start (nan without a capacity); board: off, booting, starting,
    running or prompt.
    """

    t_s: float
    pace_tpm: float
    turns: float
    bus_v: float
    bus_a: float
    out_v: float
    out_a: float
    out_w: float
    light: float
    connected: bool
    board_on: bool
    board: str
    reservoir_v: float
    percent: float


@dataclass(frozen=True, slots=True)
class Truth:
    """The whole run so far. Energies in J, charge in C, times in s of virtual time.

    in_j, in_c: into the converter, at the sensor, as a perfect one would integrate them;
    losses_j by the names of `model.point.LOSSES`; peak_*: highest volts so far;
    switchings: every change of the load switch; connected_s: time connected;
    torn: flash operations that a loss of power left half done.
    """

    t_s: float
    arm_j: float
    host_j: float
    in_j: float
    in_c: float
    out_j: float
    losses_j: dict[str, float]
    turns: float
    peak_out_v: float
    peak_bus_v: float
    boots_s: tuple[float, ...]
    deaths_s: tuple[float, ...]
    switchings: tuple[Switching, ...]
    connected_s: float
    torn: int
    erases: int
    pages: int

    def released_after_s(self, t_s: float) -> float | None:
        """Time from t_s to the first release after it; None when there is none."""
        for switching in self.switchings:
            if switching.t_s >= t_s and not switching.connected:
                return switching.t_s - t_s
        return None


def turns(machine: Machine) -> float:
    return machine.state.theta_rad / (60 * RPM)


def glimpse(engine: Engine) -> Glimpse:
    plant = engine.plant
    plant.settle(plant.t_us)
    state = plant.machine.state
    share = stored_share_per_j(plant.rig.load)
    return Glimpse(
        t_s=plant.t_us / 1e6,
        pace_tpm=state.crank_rad_s / RPM,
        turns=turns(plant.machine),
        bus_v=state.in_v,
        bus_a=state.in_a,
        out_v=state.out_v,
        out_a=state.out_a,
        out_w=state.out_v * state.out_a,
        light=plant.light,
        connected=plant.connected,
        board_on=engine.state != OFF,
        board=engine.state,
        reservoir_v=state.reservoir_v,
        percent=float("nan") if share is None else 100 * share * plant.machine.sums.out,
    )


def truth(engine: Engine) -> Truth:
    plant, flash = engine.plant, engine.flash
    plant.settle(plant.t_us)
    machine = plant.machine
    account = machine.account
    return Truth(
        t_s=plant.t_us / 1e6,
        arm_j=account.arm_j,
        host_j=account.host_j,
        in_j=machine.energy_in_j,
        in_c=machine.charge_in_c,
        out_j=account.out_j,
        losses_j=dict(account.losses_j),
        turns=turns(machine),
        peak_out_v=machine.peak_out_v,
        peak_bus_v=machine.peak_bus_v,
        boots_s=tuple(engine.boots),
        deaths_s=tuple(engine.deaths),
        switchings=tuple(plant.switchings),
        connected_s=_connected_s(plant),
        torn=engine.torn,
        erases=flash.erases,
        pages=flash.pages,
    )


def _connected_s(plant: Plant) -> float:
    total, since = 0.0, None
    for switching in plant.switchings:
        if switching.connected:
            since = switching.t_s
        elif since is not None:
            total += switching.t_s - since
            since = None
    return total if since is None else total + plant.t_us / 1e6 - since
