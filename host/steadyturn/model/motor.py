"""One brushed permanent-magnet motor turned as a generator; equations in motor.md."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.rig.types import Motor

Floats = NDArray[np.float64]

COPPER_PER_K = 0.00393  # from 20 degC; from memory
FERRITE_PER_K = -0.002  # flux of ferrite magnets, from memory
PEAK_OVER_MEAN = 1.05  # few commutator slots: peaks 2-5 % above the mean, common practice


def emf_constant(motor: Motor) -> float:
    """EMF constant k at 20 degC [V s/rad]; the measured one wins over the nameplate.

    From the nameplate: what is left of the rated volts at no load, after the
    resistance and the brushes, over the no-load speed. Never negative.

    >>> from steadyturn.rig.types import Motor, RPM
    >>> round(emf_constant(Motor(rated_v=50, no_load_rad_s=2100 * RPM, no_load_a=1.25,
    ...                          terminal_ohm=1.03, brush_drop_v=0)), 4)
    0.2215
    """
    if motor.emf_v_s is not None:
        return motor.emf_v_s
    if motor.rated_v is None or motor.no_load_rad_s is None:
        return 0.0
    return nameplate_constant(motor)


def nameplate_constant(motor: Motor) -> float:
    """That of the nameplate alone [V s/rad]; its fields may be arrays of one shape.

    >>> import numpy as np
    >>> from steadyturn.rig.types import Motor
    >>> many = Motor(rated_v=12.0, no_load_rad_s=np.array([400, 600]), terminal_ohm=2.0,
    ...              no_load_a=0.1, brush_drop_v=0.2)
    >>> nameplate_constant(many).round(5).tolist()
    [0.029, 0.01933]
    """
    assert motor.rated_v is not None
    assert motor.no_load_rad_s is not None
    left = motor.rated_v - motor.no_load_a * motor.terminal_ohm - motor.brush_drop_v
    return left * (left > 0) / motor.no_load_rad_s


def emf_constant_at(motor: Motor, winding_c: ArrayLike) -> Floats:
    """EMF constant [V s/rad] with the magnets at winding_c [degC], same shape.

    >>> from steadyturn.rig.types import Motor
    >>> emf_constant_at(Motor(emf_v_s=0.1, terminal_ohm=1), [20, 70]).round(3).tolist()
    [0.1, 0.09]
    """
    return emf_constant(motor) * magnets(winding_c)


def magnets(magnet_c: ArrayLike) -> Floats:
    """Flux of the magnets at magnet_c [degC] over that at 20 degC, same shape.

    >>> magnets([20, 70]).round(3).tolist()
    [1.0, 0.9]
    """
    warm = 1 + FERRITE_PER_K * (np.asarray(magnet_c, dtype=float) - 20)
    return np.maximum(warm, 0.1)


def ohm_at(motor: Motor, winding_c: ArrayLike) -> Floats:
    """Terminal resistance [ohm] with the winding at winding_c [degC], same shape.

    >>> from steadyturn.rig.types import Motor
    >>> round(float(ohm_at(Motor(emf_v_s=1, terminal_ohm=10), 120)), 2)
    13.93
    """
    return motor.terminal_ohm * copper(winding_c)


def copper(winding_c: ArrayLike) -> Floats:
    """Resistance of copper at winding_c [degC] over that at 20 degC, same shape.

    >>> copper([20, 120]).round(3).tolist()
    [1.0, 1.393]
    """
    warm = 1 + COPPER_PER_K * (np.asarray(winding_c, dtype=float) - 20)
    return np.maximum(warm, 0.1)


def brush_v(motor: Motor, motor_a: ArrayLike) -> Floats:
    """Drop of both brushes [V] at motor_a [A]: nothing at no current.

    >>> from steadyturn.rig.types import Motor
    >>> carbon = Motor(terminal_ohm=1, brush_drop_v=0.2, brush_knee_a=0.02)
    >>> brush_v(carbon, [0, 0.02, 1]).round(3).tolist()
    [0.0, 0.152, 0.2]
    """
    return motor.brush_drop_v * np.tanh(np.asarray(motor_a, dtype=float) / motor.brush_knee_a)


def friction_nm(motor: Motor, rad_s: ArrayLike) -> Floats:
    """Torque [N m] the motor takes at no current, at shaft speed rad_s [rad/s].

    >>> from steadyturn.rig.types import Motor
    >>> round(float(friction_nm(Motor(emf_v_s=0.02, terminal_ohm=1, no_load_a=0.1), 300.0)), 6)
    0.002
    """
    steady = emf_constant(motor) * motor.no_load_a
    return steady + motor.drag_nm_s * np.asarray(rad_s, dtype=float)


def terminal_v(motor: Motor, rad_s: ArrayLike, motor_a: ArrayLike,
               winding_c: ArrayLike = 20.0) -> Floats:
    """Volts at the terminals of a motor turned at rad_s that gives motor_a [A].

    >>> from steadyturn.rig.types import Motor
    >>> linear = Motor(emf_v_s=0.3, terminal_ohm=0.05, no_load_a=0, brush_drop_v=0)
    >>> round(float(terminal_v(linear, 7.78, 6.667)), 2)
    2.0
    """
    amps = np.asarray(motor_a, dtype=float)
    emf = emf_constant_at(motor, winding_c) * np.asarray(rad_s, dtype=float)
    return np.asarray(emf - amps * ohm_at(motor, winding_c) - brush_v(motor, amps))


def shaft_nm(motor: Motor, rad_s: ArrayLike, motor_a: ArrayLike,
             winding_c: ArrayLike = 20.0) -> Floats:
    """Torque [N m] that turns the motor at rad_s while it gives motor_a [A].

    >>> from steadyturn.rig.types import Motor
    >>> round(float(shaft_nm(Motor(emf_v_s=0.2, terminal_ohm=1, no_load_a=0), 0.0, 5.0)), 6)
    1.0
    """
    amps = np.asarray(motor_a, dtype=float)
    return np.asarray(emf_constant_at(motor, winding_c) * amps + friction_nm(motor, rad_s))
