"""Parts of a rig that make the volts: motors, gears, handle, diodes. See rig.types."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.rig.spec import MEMORY, PRACTICE, RPM, choice, flag, number, text, whole

_NAMEPLATE = "Read the nameplate or the seller's data, or measure it: run the motor from a supply."
_OHM = (
    "Hold the shaft still, read the ohms at several shaft positions, and subtract what the "
    "meter shows with its leads touching."
)


@dataclass(frozen=True, kw_only=True)
class Motor:
    """One brushed permanent-magnet motor, from its nameplate or from measured constants.

    Either `rated_v` and `no_load_rad_s`, or `emf_v_s` is needed; with both, the
    measured EMF constant wins and the nameplate is only compared with it.
    """

    name: str = text("name", 48, default="motor")
    rated_v: float | None = number("rated_v", "V", 0.5, 60, optional=True, how=_NAMEPLATE)
    no_load_rad_s: float | None = number(
        "no_load_rpm", "rpm", 100, 60_000, scale=RPM, optional=True, how=_NAMEPLATE
    )
    no_load_a: float = number(
        "no_load_a", "A", 0.001, 10, typical=(0.02, 0.1, 0.4), source=MEMORY,
        how="Run the motor with nothing on its shaft and read the current.",
    )
    terminal_ohm: float = number("terminal_ohm", "ohm", 0.05, 300, how=_OHM)
    emf_v_s: float | None = number(
        "emf_v_per_krpm", "V per 1000 rpm", 0.05, 200, scale=1 / (1000 * RPM), optional=True,
        how="Spin the shaft with a drill of known speed, nothing connected, and read the volts.",
    )
    brush_drop_v: float = number(
        "brush_drop_v", "V", 0, 2.5, typical=(0.05, 0.2, 1.0), source=MEMORY,
        how="Both brushes together. At one steady pace read the volts at several currents and "
        "draw them: where the straight part, drawn on to no current, stands below the "
        "unloaded volts, that is the drop.",
    )
    brush_knee_a: float = number(
        "brush_knee_a", "A", 0.001, 1, typical=(0.005, 0.02, 0.1), source=PRACTICE
    )
    drag_nm_s: float = number(
        "drag_unm_per_rad_s", "uN m per rad/s", 0, 1000, scale=1e-6, typical=(0, 0, 5),
        source=PRACTICE,
    )
    inductance_h: float = number(
        "inductance_mh", "mH", 0, 100, scale=1e-3, typical=(0.2, 1.0, 5.0), source=PRACTICE
    )
    inertia_kg_m2: float = number(
        "inertia_gcm2", "g cm2", 0.01, 10_000, scale=1e-7, typical=(5, 20, 100), source=PRACTICE
    )
    max_rad_s: float = number(
        "max_rpm", "rpm", 100, 100_000, scale=RPM, typical=(8_000, 15_000, 25_000),
        source=PRACTICE, how="Stay below about 1.3 times the no-load speed at the rated voltage.",
    )
    max_a: float = number(
        "max_a", "A", 0.01, 100, typical=(0.5, 1.5, 5), source=PRACTICE,
        how="The rated load current on the nameplate; about a fifth of the stall current.",
    )
    max_winding_c: float = number(
        "max_winding_c", "degC", 40, 200, typical=(80, 100, 155), source=PRACTICE
    )
    winding_case_k_w: float = number(
        "winding_to_case_k_per_w", "K/W", 0.1, 100, typical=(3, 7, 15), source=PRACTICE,
        how="Warm the motor with a steady current: the rise of its ohms tells the winding's heat "
        "(0.39 % per K), a thermometer the case's.",
    )
    case_air_k_w: float = number(
        "case_to_air_k_per_w", "K/W", 0.5, 200, typical=(8, 15, 30), source=PRACTICE,
        how="Hold the shaft, feed about 2 W for half an hour, and divide the case's rise over the "
        "air by those watts.",
    )
    winding_j_k: float = number(
        "winding_j_per_k", "J/K", 0.1, 1000, typical=(3, 10, 40), source=PRACTICE
    )


@dataclass(frozen=True, kw_only=True)
class Bank:
    """Equal motors on one gear."""

    series: int = whole("series", 1, 12, default=1)
    parallel: int = whole("parallel", 1, 12, default=1)
    spread: float = number(
        "spread_percent", "%", 0, 30, scale=0.01, typical=(2, 5, 10), source=PRACTICE,
        how="How far the volts of two of these motors on one gear differ.",
    )
    diode_each: bool = flag("diode_each", default=False)
    mount_max_c: float = number(
        "mount_max_c", "degC", 30, 200, typical=(50, 55, 60), source="PLA; " + MEMORY,
        how="PLA softens near 55 degC, PETG near 75; a metal plate bears more.",
    )


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One gear mesh, handle side first: teeth, or a plain ratio driver/driven."""

    driver_teeth: int | None = whole("driver_teeth", 6, 400, optional=True)
    driven_teeth: int | None = whole("driven_teeth", 6, 400, optional=True)
    ratio: float | None = number("ratio", "", 0.05, 100, optional=True)
    efficiency: float = number(
        "efficiency", "", 0.3, 1, typical=(0.75, 0.85, 0.95),
        source="plastic kit stage about 0.85, varies widely: MIT 2.007 course page",
        how="All stages together: with a resistor as load find the weight at the handle that "
        "keeps it turning; the motors' volts times amps and their own losses, over that "
        "weight's power, is their product.",
    )


@dataclass(frozen=True, kw_only=True)
class Crank:
    radius_m: float = number("radius_mm", "mm", 20, 500, scale=1e-3, typical=(80, 110, 150),
                             source=PRACTICE, how="From the axle's middle to the grip's middle.")
    friction_nm: float = number("friction_nm", "N m", 0, 5, typical=(0.02, 0.05, 0.2),
                                source=PRACTICE, how="Weight that just turns the empty handle "
                                "times the radius times 9.81.")
    inertia_kg_m2: float = number("inertia_gm2", "g m2", 0.01, 1000, scale=1e-3,
                                  typical=(0.5, 2, 10), source=PRACTICE)


@dataclass(frozen=True, kw_only=True)
class Rectifier:
    """Between motors and bus; drop_v and knee_a are of one diode."""

    kind: str = choice("kind", ("schottky", "bridge", "none"), default="schottky")
    drop_v: float = number("drop_v", "V", 0, 1.5, typical=(0.3, 0.35, 0.5),
                           source="Schottky data sheets, " + MEMORY)
    knee_a: float = number("knee_a", "A", 0.001, 1, typical=(0.005, 0.02, 0.1), source=PRACTICE)
    max_v: float = number("max_v", "V", 5, 1000, typical=(20, 40, 60), source=PRACTICE)
