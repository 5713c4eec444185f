"""One machine's steps: the arithmetic of dynamics.md, in one long function.

Long, and on local names, because a virtual hour is close to two million steps: calls
and attribute look-ups are what they would cost. A comparison of two floats is several
times quicker than min() or max() here, hence:
"""
# ruff: noqa: PLR1714, PLR1730, SIM109

from __future__ import annotations

from math import copysign, inf, sqrt, tanh
from typing import TYPE_CHECKING, Protocol

from steadyturn.model.dynamics_parts import Cut, device_a, settle, settle_power, source_a

if TYPE_CHECKING:
    from steadyturn.model.dynamics import Machine

_PROBE = 0.01  # rad/s: the least distance over which the arm is asked for its slope
ENOUGH_A = 2e-4  # the bus node's balance is off by less before its last round, which squares that
FREE = 4  # rounds before its steps are kept between the bounds found so far: it has kinks
MOST = 60  # rounds of that balance; one or two are the rule
_FULL = 19.1  # from here on tanh is 1 to the last bit
_SOFT_DONE = 1.0 - 1e-9
_SOFT_END = 1.0 + 1e-9  # where the soft start ends within a step, not at its end
REARM = 0.97  # a hardware cut lets go again when its volts have fallen to this share

# what draws from the bus in one step
_NOTHING, _REGULATES, _DIRECT, _DROPS, _LINEAR = range(5)


class Hand(Protocol):
    """Whatever turns the handle."""

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float: ...


def steps(m: Machine, cut: Cut, base_s: float, k: int, end: int, arm: Hand, connected: bool,
          board_on: bool, host_power: bool, watch: bool = True) -> int:
    """Steps of one length, numbers k to end; the number that it came to.

    cut: what `Parts.cut` gives for that length h; step k begins at base_s + k h [s]. watch:
    a step in which something happens is not taken: `m.event` then has what, and how far the
    quantity that tells is past its threshold; otherwise `m.event` is None. Without watch
    what happens is done at the step's ends.

    >>> from steadyturn.model.dynamics import Machine
    >>> from steadyturn.model.hand import Servo
    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = Machine(read_rig(example_path("lakeside-hut")))
    >>> steps(hut, hut.parts.whole, 0.0, 0, 500, Servo(60.0), True, False, False)
    2
    >>> hut.event[0], round(hut.state.bus_v, 2)  # in the third step it would pass 3.6 V
    ('starts', 2.7)
    """
    p, s, z = m.parts, m.state, m.sums
    torque = arm.torque_nm
    w, theta = s.crank_rad_s, s.theta_rad
    v, vo, vr = s.bus_v, s.converter_v, s.reservoir_v
    i, ic, io = s.motor_a, s.in_a, s.converter_a
    i_before = m.motor_before_a
    on, soft, bus_cut, out_cut = s.converter_on, m.soft, s.bus_cut, s.output_cut
    in_v, idev = s.in_v, s.out_a
    peak_out, peak_bus = m.peak_out_v, m.peak_bus_v
    # joules and the like of this run, added to the sums at its end
    arm_j = rub_j = visc = em_j = gear_j = i2 = brush = diode = 0.0
    in_j = in_c = in_vs = ic2 = conv_j = out_j = idev2 = clamp_j = feed_j = board_j = bled_v2 = 0.0

    (h, half, kc, r_source, inertia_h, rest_nm, viscous, load_slope, eta, bridge, blocks,
     brush_v, brush_a, diode_v, diode_a, brush_ohm, diode_ohm, l_h,
     c_h, fit_source, fit_alone, leak, rs, r_shunt, enable, bus_switch,
     boost, linear, passes, drops_out, set_v, start_v, stop_v, in_limit, out_limit,
     loss_w, loss_v, loss_ohm, coil, direct_v, soft_step, co_h, bleed, bleed_j,
     full_slope, min_d, full_draw, path, clamp_v, clamp_s, cut_bus, cut_out,
     feeds, feed_v, feed_a, feed_r, res_h, full_v, off_v, board_w) = cut
    event: tuple[str, float] | None = None
    began = k
    if not m.plugged:
        full_slope = full_draw = 0.0
    if not board_on:
        board_w = 0.0
    if host_power:
        if feeds:
            z.host += 0.5 * res_h * h * (full_v * full_v - vr * vr)
            vr = full_v
        feeds = False
    fed = not feeds  # by a host or a cell

    while k < end:
        t = base_s + k * h + half
        # -- the handle: torque and its slope, in the middle of the step
        turn = theta + w * half
        a0 = torque(t, turn, w)
        if w > 0.0:
            rub = rest_nm
        elif w < 0.0:
            rub = -rest_nm
        elif -rest_nm <= a0 <= rest_nm:
            rub = a0  # stands still: friction takes what is offered
        else:
            rub = copysign(rest_nm, a0)
        # over the way that the last step's current lets it go, to see a hand's limits
        far = (a0 - rub - kc * i / eta) / inertia_h
        if -_PROBE < far < _PROBE:
            far = _PROBE
        slope = (a0 - torque(t, turn, w + far)) / far
        if slope < 0.0:
            slope = 0.0
        damping = slope + viscous
        x = (damping + load_slope) / inertia_h
        lag = 0.5 if x <= 2.0 else 1.0 - 1.0 / x
        heft = inertia_h / lag
        d = heft + damping
        w_open = (heft * w + a0 + slope * w - rub) / d  # the speed if no current flowed
        kd = -kc if bridge and w_open < 0.0 else kc
        e = kd * w_open
        # current slows the handle within the step: that acts like a resistance
        r = r_source + kc * kc / (d * eta if i >= 0.0 else d / eta)

        guess = 2.0 * i - i_before  # the balance below is sought from where it heads
        i_before, ic_before, io_before, idev_before = i, ic, io, idev
        if l_h:  # inductance: its volts stand against the change of the current
            r += l_h
            e += l_h * i
        if guess > 0.0:
            i = guess
        may_start = True
        while True:  # again only when a threshold is crossed inside the step
            # -- what the load switch and the cuts leave joined
            attached = connected and not bus_cut
            joined = attached or not bus_switch
            enabled = joined and (attached or not enable)
            socket = (attached or enable or bus_switch) and not out_cut
            if socket:
                slope_d, draw_d = full_slope, full_draw
            else:
                slope_d = draw_d = 0.0

            # -- the converter: on or off, and how it draws
            vin = v - rs * ic
            if on:
                on = enabled
            elif enabled and may_start and vin >= start_v:
                if watch:
                    event = "starts", vin - start_v
                    break
                on = True
                soft = 0.0
            lv = lr = power = vo1 = 0.0
            mode = _NOTHING
            if on:
                rise = soft + soft_step
                if rise < 1.0:
                    vt = rise * set_v
                else:
                    vt = set_v
                    if watch and soft < 1.0 and rise > _SOFT_END:
                        event = "soft", rise - 1.0
                        break
                if boost:
                    direct = vin - direct_v >= vt or vo < vin - direct_v
                else:
                    direct = drops_out and vin - direct_v < vt
                if direct:
                    mode = _DIRECT if boost or linear else _DROPS
                else:
                    # the output's current, for the set point to be reached in this step
                    vom = vt if vo == vt else 0.5 * (vo + vt)
                    io = slope_d * (vom - min_d)
                    if io > draw_d:
                        io = draw_d
                    elif io < 0.0:
                        io = 0.0
                    idev = io
                    vo1 = vt
                    if vo != vt:
                        io += co_h * (vt - vo)
                    if io > out_limit or io < 0.0:
                        io = out_limit if io > 0.0 else 0.0
                        vo1 = settle(vo, io, co_h, slope_d, min_d, draw_d)
                        idev = device_a(vo1, slope_d, min_d, draw_d)
                        vom = 0.5 * (vo + vo1)
                    power = vom * io + loss_w
                    if linear:
                        mode = _LINEAR
                    else:
                        mode = _REGULATES
                        if coil == "in" or (coil == "larger" and ic > io):
                            lv, lr = loss_v, loss_ohm
                        else:
                            power += io * (loss_v + loss_ohm * io)
            elif passes and joined:
                mode = _DIRECT
            quiet = loss_w / vin if on and vin > 0.0 else 0.0

            # -- the bus node: the source's current meets what is drawn from it
            held = blocks and i == 0.0 and e <= v  # the rectifier holds off
            if mode == _DIRECT or mode == _DROPS or v > clamp_v:
                fit = 1.0
            elif held:
                fit = fit_alone
            else:
                fit = fit_source
            c = c_h / fit
            if feeds:
                # below the volts where it stops, a board takes no constant power
                drawn_w = board_w if vr > off_v else board_w * vr / off_v
                short_w = drawn_w + 0.5 * res_h * (full_v * full_v - vr * vr)
                sinks_v = vr - drawn_w / (vr * res_h) if vr > 0.0 else 0.0
                if sinks_v < 0.0:
                    sinks_v = 0.0
            ib = icl = 0.0
            vx = v
            rounds = 0
            low, high = -inf, inf
            while True:
                if not held:
                    tb = i * brush_a
                    tb = tanh(tb) if tb < _FULL else 1.0
                    td = i * diode_a
                    td = tanh(td) if td < _FULL else 1.0
                    vx = e - r * i - brush_v * tb - diode_v * td
                g = c + leak
                if mode == _REGULATES:
                    a = vx - lv
                    q = a * a - 4.0 * (rs + lr) * power
                    # beyond the coil's own fold (q < 0) it asks for what it asked there, and more
                    if a > 0.0:
                        ic = 2.0 * power / (a + sqrt(q) if q > 0.0 else a)
                    else:
                        ic = in_limit
                    if ic >= in_limit:
                        ic = in_limit
                    elif ic < 0.5 * c * vx:
                        g -= ic / vx  # a constant power draws less when the volts rise
                    load = ic
                elif mode == _DIRECT:
                    over = vx - direct_v
                    flow = 1.0 + co_h * rs
                    gc = co_h
                    ic = (quiet + co_h * (over - vo) + draw_d) / flow
                    if slope_d * (over - rs * ic - min_d) < draw_d:
                        gc = co_h + slope_d
                        flow += slope_d * rs
                        ic = (quiet + co_h * (over - vo) + slope_d * (over - min_d)) / flow
                        if over - rs * ic < min_d:
                            gc = co_h
                            flow = 1.0 + co_h * rs
                            ic = (quiet + co_h * (over - vo)) / flow
                    if ic > quiet:
                        g += gc / flow
                    else:
                        ic = quiet
                    load = ic
                elif mode == _LINEAR:
                    ic = io + quiet
                    if ic > in_limit:
                        ic = in_limit
                    load = ic
                elif mode == _DROPS:
                    vin = vx - rs * ic
                    vo1 = vin - direct_v
                    idev = slope_d * (vo1 - min_d)
                    g += co_h
                    if idev >= draw_d:
                        idev = draw_d
                    elif idev > 0.0:
                        g += slope_d
                    else:
                        idev = 0.0
                    io = idev + co_h * (vo1 - vo)
                    if io < 0.0:
                        io = 0.0
                    ic = (vo1 * io + loss_w + io * (loss_v + loss_ohm * io)) / vin
                    if ic > in_limit:
                        ic = in_limit
                    load = ic
                else:
                    load = ic = 0.0
                load += leak * vx
                if feeds:
                    vf = vx - feed_v
                    ib = (vf - sinks_v) / feed_r
                    if ib > 0.0:
                        want = short_w / vf
                        if ib > want or ib > feed_a:
                            ib = want if want < feed_a else feed_a
                        else:
                            g += 1.0 / feed_r
                        load += ib
                    else:
                        ib = 0.0
                if vx > clamp_v:
                    icl = clamp_s * (vx - clamp_v)
                    g += clamp_s
                    load += icl
                else:
                    icl = 0.0
                rounds += 1
                error = c * (vx - v) + load - i
                if held:
                    if error > 0.0:
                        high = vx
                    else:
                        low = vx
                    vx -= error / g
                    if rounds > FREE and not low < vx < high:
                        vx = 0.5 * (low + high)
                    if -ENOUGH_A < error < ENOUGH_A or rounds >= MOST:
                        if e <= vx or rounds >= MOST:
                            break
                        held = False
                        low, high = -inf, inf
                    continue
                dv = r + brush_ohm * (1.0 - tb * tb) + diode_ohm * (1.0 - td * td)
                change = error / (1.0 + g * dv)
                if blocks and i + change <= 0.0:
                    if i == 0.0:
                        held = True
                        vx = v
                        low, high = -inf, inf
                    else:
                        high = i
                        i = 0.5 * (low + high) if rounds > FREE and low >= 0.0 else 0.0
                    continue
                if change > 0.0:
                    low = i
                else:
                    high = i
                i += change
                if -ENOUGH_A < error < ENOUGH_A or rounds >= MOST:
                    vx -= dv * change
                    break
                if rounds > FREE and not low < i < high:
                    i = 0.5 * (low + high)

            limited = ic == in_limit and mode != _DIRECT
            vm = vx  # the volts that the step's currents flow at
            v1 = v + (vm - v) / fit
            stops = False
            if watch:
                vin = v1 - rs * ic
                if on:
                    if vin < stop_v:
                        event = "stops", stop_v - vin
                        break
                elif vin >= start_v and enabled:
                    event = "starts", vin - start_v
                    break
            elif on and vm - rs * ic < stop_v:
                stops = True
                if mode != _DIRECT:
                    # it collapses within this step: it takes what brings the bus down to
                    # its threshold, then lets go
                    i = source_a(e - stop_v, r, brush_v, brush_a, diode_v, diode_a)
                    most = i - ib - leak * stop_v - c_h * (stop_v - v)
                    if most <= 0.0:
                        on = may_start = False
                        continue
                    if most < ic:
                        ic = most
                    limited = True
                    tb, td = tanh(i * brush_a), tanh(i * diode_a)
                    icl = 0.0
                    v1 = v + (i - ib - leak * stop_v - ic) / c_h
                    vm = v + fit * (v1 - v)

            # -- the output: its capacitor and the device
            vin = vm - rs * ic
            if mode == _DIRECT and ic > quiet:
                vom = vo1 = vin - direct_v
                idev = device_a(vo1, slope_d, min_d, draw_d)
                io = ic - quiet
            elif limited:
                if mode == _LINEAR:
                    io = ic - quiet if ic > quiet else 0.0
                    vo1 = settle(vo, io, co_h, slope_d, min_d, draw_d)
                else:
                    if lv or lr:
                        power = ic * (vin - lv - lr * ic) - loss_w
                    else:
                        power = ic * vin - loss_w - io * (loss_v + loss_ohm * io)
                    wanted = vo1 if mode == _REGULATES else vin - direct_v
                    vo1 = settle_power(vo, power, co_h, slope_d, min_d, draw_d)
                    if vo1 > wanted:
                        vo1 = wanted
                idev = device_a(vo1, slope_d, min_d, draw_d)
                io = co_h * (vo1 - vo) + idev
                vom = vo1
            elif mode == _DROPS and io > 0.0:
                vom = vo1 = vo + (io - idev) / co_h
            elif mode != _REGULATES and mode != _LINEAR:
                io = 0.0
                vom = vo1 = settle(vo, 0.0, co_h, slope_d, min_d, draw_d)
                idev = device_a(vo1, slope_d, min_d, draw_d)

            if io == 0.0:
                vo1 -= vo1 * bleed
            # -- the hardware cuts act within the step
            if v1 > cut_bus and not bus_cut:
                if watch:
                    event = "bus_cut", v1 - cut_bus
                    break
                bus_cut = True
                continue
            if vo1 > cut_out and not out_cut:
                if watch:
                    event = "out_cut", vo1 - cut_out
                    break
                out_cut = True
                continue
            if watch:
                if bus_cut and v1 < REARM * cut_bus:
                    event = "bus_back", REARM * cut_bus - v1
                elif out_cut and vo1 < REARM * cut_out:
                    event = "out_back", REARM * cut_out - vo1
            break
        if event is not None:
            i, ic, io, idev = i_before, ic_before, io_before, idev_before
            break

        # -- the handle moves on
        wm = w_open - kd * i / (d * eta if i >= 0.0 else d / eta)
        w1 = w + (wm - w) / lag
        if watch and (w1 < 0.0 < w or w < 0.0 < w1):
            event = "stands", abs(w1)
            i, ic, io, idev = i_before, ic_before, io_before, idev_before
            break
        push_j = (a0 + slope * (w - wm)) * wm
        pull_j = kd * i * wm
        arm_j += push_j
        em_j += pull_j
        gear = pull_j * (1.0 / eta - 1.0) if i >= 0.0 else pull_j * (eta - 1.0)
        gear_j += gear
        visc_now = wm * wm
        visc += visc_now
        if (w1 < 0.0 < w) or (w < 0.0 < w1):
            # it comes to rest within the step: friction had the remainder
            w1 = 0.0
            rub_j += (push_j - pull_j - gear - viscous * visc_now
                      + 0.5 * inertia_h * w * w)
        else:
            rub_j += rub * wm
        theta += 0.5 * h * (w + w1)
        w = w1

        # -- what went where
        i2 += i * i
        if i != 0.0:
            brush += i * tb
            diode += i * td
        vs = vm - r_shunt * ic
        in_j += vs * ic
        in_c += ic
        in_vs += vs
        ic2 += ic * ic
        conv_j += vin * ic - vom * io
        if io == 0.0:
            conv_j += 0.5 * co_h * vo1 * vo1 * bleed_j
        out_v = vo1 - path * idev
        out_j += idev * (vom - path * idev)
        idev2 += idev * idev
        bled_v2 += vm * vm
        if icl:
            clamp_j += icl * vm
        if feeds:
            # below full it is charged straight through; full, it takes what the board takes
            if ib > 0.0:
                if ib == want:
                    gain = ib * (vm - feed_v)
                else:
                    gain = ib * (vr + 0.5 * ib / res_h)
                feed_j += ib * vm - gain
            else:
                gain = 0.0
            square = vr * vr + 2.0 * (gain - drawn_w) / res_h
            if square > 0.0:
                board_j += drawn_w
                vr = sqrt(square)
            else:
                board_j += gain + 0.5 * res_h * vr * vr
                vr = 0.0

        v = v1
        vo = vo1
        in_v = v - r_shunt * ic
        if v > peak_bus:
            peak_bus = v
        if out_v > peak_out and socket:
            peak_out = out_v
        if stops:
            on = False
        if not on:
            soft = 0.0
        elif soft < 1.0:
            soft += soft_step
            if soft > _SOFT_DONE:
                soft = 1.0
                if m.log is not None and p.soft_s:
                    m.log.append((base_s + k * h + h, "soft"))
        if not watch:
            if bus_cut and v < REARM * cut_bus:
                bus_cut = False
            if out_cut and vo < REARM * cut_out:
                out_cut = False
        k += 1

    m.event = event
    if k == began:
        return k
    m.soft, m.motor_before_a = soft, i_before
    m.peak_out_v, m.peak_bus_v = peak_out, peak_bus
    s.time_s = base_s + k * h
    s.theta_rad, s.crank_rad_s = theta, w
    s.bus_v, s.converter_v, s.reservoir_v = v, vo, vr
    s.motor_a, s.in_a, s.converter_a, s.in_v = i, ic, io, in_v
    s.out_a = idev
    s.out_v = out_v if socket else 0.0
    s.converter_on, s.bus_cut, s.output_cut = on, bus_cut, out_cut
    z.arm += arm_j * h
    z.rub += rub_j * h
    z.drag += viscous * visc * h
    z.em += em_j * h
    z.gear += gear_j * h
    z.copper += r_source * i2 * h
    z.brush += brush * h
    z.diode += diode * h
    z.in_j += in_j * h
    z.in_c += in_c * h
    z.in_v_s += in_vs * h
    z.in_a2s += ic2 * h
    z.converter += conv_j * h
    z.out += out_j * h
    z.out_a2s += idev2 * h
    z.clamp += clamp_j * h
    z.bled += leak * bled_v2 * h
    z.feed += feed_j * h
    z.board += board_j * h
    if fed:
        z.board += board_w * h * (k - began)
        z.host += board_w * h * (k - began)
    return k
