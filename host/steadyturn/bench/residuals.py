"""How far each row is from zero for given constants, and how far it may be."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench import crest
from steadyturn.bench.rows import FRICTION_WANDERS, HEAT, PEAK, WARMTH, Rows
from steadyturn.model.motor import COPPER_PER_K, FERRITE_PER_K

Floats = NDArray[np.float64]
CREST_LOOSE = 0.5  # of what a step changes of the crests: the law is one of a steady current
K, OHM, DROP, KNEE, IDLE, DRAG, TRAIN = range(7)  # places among the constants


def evaluate(rows: Rows, constants: Floats, shared: Floats) -> tuple[Floats, Floats]:
    """(residuals, one sigma of each) in V, A, N m or a log, as the row is.

    constants: SI, in the order above; shared: as `rows.shared`, its first always 0. Both may
    have a leading axis of many sets; then so have the results.
    """
    k20, ohm20, drop, knee, idle, drag, train = np.moveaxis(constants[..., None], -2, 0)
    at, setup = rows.shared.index, rows.setup
    warm = shared[..., [at(WARMTH)]]
    if HEAT in rows.shared:
        warm = warm + rows.warm_k * (1 + shared[..., [at(HEAT)]])
    k = k20 * (1 + FERRITE_PER_K * warm)
    ohm = ohm20 * (1 + COPPER_PER_K * warm)
    volts = rows.volts * (1 + shared[..., rows.volt_gain])
    by_ohm = np.where(np.isfinite(rows.ohm), shared[..., rows.ohm_gain], 0.0)
    amps = rows.amps * (1 + shared[..., rows.amp_gain]) / (1 + by_ohm)
    by_board = bool(rows.amp_off.any())
    if by_board:
        volts = volts + shared[..., rows.volt_off]
        amps = amps + shared[..., rows.amp_off] + rows.unseen_a * shared[..., rows.unseen]
    each = amps / setup.parallel
    brush = np.tanh(each / knee)
    diode = rows.diode * setup.diodes * setup.drop_v
    slope = setup.series / setup.parallel * (ohm + drop / knee * (1 - brush**2)) + diode * (
        1 - np.tanh(amps / setup.knee_a) ** 2) / setup.knee_a + rows.loop_ohm
    inner = setup.series * (each * ohm + drop * brush)
    free_w = np.maximum(np.abs(volts) + inner / setup.series, 0.0) / k
    turned = rows.w * (1 + shared[..., rows.pace_gain]) if by_board else rows.w
    w = np.where(np.isnan(rows.w), free_w, turned)
    excess = rows.peak_excess + shared[..., [at(PEAK)]]
    mean = setup.series * k * w
    # how much of the crests a capacitor keeps; an open one keeps them all
    drawn = np.abs(amps) * ohm * setup.series / setup.parallel
    crests, loose = crest.expected(drawn / np.maximum(mean * np.maximum(excess, 1e-3), 1e-9))
    emf = mean * (1 + rows.peak * crests * excess + rows.hold)
    left = (emf - inner - diode * np.tanh(amps / setup.knee_a) - volts - amps * rows.loop_ohm)
    same = np.isfinite(rows.ohm) & (rows.held == 0)  # one reading gives both volts and current
    digits = np.where(same, (rows.volt_digit * (1 + slope / np.where(same, rows.ohm, 1))) ** 2,
                      rows.volt_digit**2 + (slope * rows.amp_digit) ** 2)
    wander = (rows.held * each * ohm * rows.position * setup.series) ** 2
    spread = np.hypot(emf * rows.w_share, emf * rows.peak * loose * rows.peak_excess)
    sigma = np.sqrt(digits + wander + spread**2 + (emf * rows.hold) ** 2)
    friction = k20 * idle + drag * w
    own = k * each
    runs, torques, stalls = (rows.kind == name for name in ("run", "torque", "stall"))
    if runs.any():
        left = np.where(runs, -each - friction / k, left)
        guessed = np.isnan(rows.w) * drag / k**2  # the speed comes from volts and current then
        own_run = ((rows.amp_digit * (1 + guessed * ohm)) ** 2
                   + (FRICTION_WANDERS * friction / k) ** 2 + (guessed * rows.volt_digit) ** 2
                   + (drag * w / k * rows.w_share) ** 2)
        sigma = np.where(runs, np.sqrt(own_run), sigma)
    if torques.any():
        motors = setup.series * setup.parallel
        asked = setup.crank_nm + setup.ratio * motors * (own + friction) / train
        left = np.where(torques, asked - rows.torque, left)
        sigma = np.where(torques, np.hypot(rows.torque_share * rows.torque, 0.02 * asked), sigma)
    steps = rows.kind == "step"
    if steps.any():
        less = rows.from_a * (1 + shared[..., rows.amp_gain]) + shared[..., rows.amp_off]
        own_less = less / setup.parallel
        before = setup.series * (own_less * ohm + drop * np.tanh(own_less / knee))
        before = before + diode * np.tanh(less / setup.knee_a)
        inner_to = inner + diode * np.tanh(amps / setup.knee_a)
        # more current keeps less of the crests, which looks like ohms
        least = mean * np.maximum(excess, 1e-3)
        kept = crest.expected(drawn * less / np.maximum(amps, 1e-9) / np.maximum(least, 1e-9))[0]
        lost = mean * (kept - crests) * excess
        left = np.where(steps, inner_to - before + lost - volts, left)
        unsure = mean * np.abs(kept - crests) * rows.peak_excess * CREST_LOOSE
        sigma = np.where(steps, np.hypot(rows.torque_share * np.abs(rows.volts), unsure), sigma)
    gives = rows.kind == "gives"
    if gives.any():
        handle = (setup.series * k * setup.ratio) ** 2 / (train * setup.inertia_kg_m2)
        told = np.where(gives, rows.torque, 1.0)
        left = np.where(gives, np.log(handle / told), left)
        sigma = np.where(gives, rows.torque_share, sigma)
    if stalls.any():
        left = np.where(stalls, -own - rows.torque, left)
        sigma = np.where(stalls, np.hypot(rows.torque_share * rows.torque, k20 * idle), sigma)
    return left, sigma
