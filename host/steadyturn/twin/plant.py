"""What the board is wired to: the machine, the sensor chip, the load switch, the lamp.

Time is in whole microseconds and only goes forward. The machine's own time may lie
behind by less than one conversion of the sensor: it is stepped to where a reading, a
change or a look needs it.
"""

from __future__ import annotations

from typing import Protocol

from steadyturn.model import load
from steadyturn.model.dynamics import Machine
from steadyturn.rig.pins import all_pins
from steadyturn.rig.types import Rig
from steadyturn.twin.analog import Analog
from steadyturn.twin.bus_faults import NEVER, BusFaults
from steadyturn.twin.chip_ina3221 import Ina3221
from steadyturn.twin.chips import CHIPS
from steadyturn.twin.lights import Lights
from steadyturn.twin.load_switch import LoadSwitch, Switching
from steadyturn.twin.person import Idle
from steadyturn.twin.players import Players
from steadyturn.twin.stand_ins import _ops
from steadyturn.twin.turning import Turning

STEP_S = 0.004
FINER = 64  # steps to one of those while a step of the second load is looked at: 62.5 us,
FAST_US = 1000  # while the chip's cycles are no longer than this,
RINGS_US = 60_000  # and so long after the second load was switched
ALL_HIGH = (1 << 49) - 1  # inputs stand at their pull-ups
REST_US = 50_000  # how often a hand that rests is asked whether it stirs
SETTLED_A = 1e-4


class Hand(Protocol):
    """Whoever turns the handle and sees the lamp."""

    def see(self, t_s: float, light: float) -> None: ...

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float: ...


class Plant:
    """rig; seed: of all errors and noise; ideal: a sensor that has none.

    `hand`, `sensor_fitted` and `button_down` may be set at any time.
    """

    def __init__(self, rig: Rig, seed: int = 0, ideal: bool = False) -> None:
        self.rig = rig
        self.machine = Machine(rig, step_s=STEP_S)
        self.chip = CHIPS[rig.sensor.chip](rig.sensor.shunt_ohm, seed, ideal)
        self._second = isinstance(self.chip, Ina3221) and rig.sensor.out_shunt_ohm is not None
        if isinstance(self.chip, Ina3221):
            self.chip.out_shunt_ohm = rig.sensor.out_shunt_ohm or 0.0
        self._path_ohm = load.path_ohm(rig)
        self._out_mark = (0.0, 0.0, 0.0)
        self.pins = all_pins(rig.board.kind, rig.board.pins)
        self.hand: Hand = Idle()
        self.t_us = 0
        self.board_on = False
        self.host_power = False
        self.sensor_fitted = rig.sensor.chip != "adc"  # a chip on the I2C bus
        self.button_down = False
        self._button_bit = 1 << self.pins["button_pin"] if self.pins["button_pin"] >= 0 else 0
        self.lights = Lights(rig.board.lamp, self.pins["lamp_pin"], self.pins["lamp2_pin"],
                             rig.board.lamp_active_low)
        self.players = Players(self._played)
        self.switch = LoadSwitch(rig, self.pins, self.settle)
        self.analog = Analog(rig, self.pins, seed, ideal)
        self.adc_pins = self.analog.adc_pins
        self._alert_bit = 1 << self.pins["alert_pin"] if self.pins["alert_pin"] >= 0 else 0
        self.bites_us = NEVER  # when the watchdog resets the board
        self.note = 0  # in a register that outlives resets
        self.turning = Turning(rig.sensor.turn_pulses or 0)
        self._second_pin = self.pins["second_load_pin"] if rig.bus.second_load_ohm else -1
        self._second_s = 0.0  # conductance of the second load while it is connected
        self._fine_until_us = 0
        self.bus = BusFaults(self.chip, self.pins["scl_pin"], seed)
        self._mark = (0.0, 0.0, 0.0)

    @property
    def light(self) -> float:
        return self.lights.light

    @property
    def connected(self) -> bool:
        return self.switch.connected

    @property
    def switchings(self) -> list[Switching]:
        """Every change of the load switch so far."""
        return self.switch.switchings

    # ---------------------------------------------------------------------- time

    def pass_to(self, t_us: int) -> None:
        """Let time pass; afterwards the registers hold the newest conversion."""
        while self.players.next_us <= t_us:
            self._pass_bus(max(self.players.next_us, self.t_us))
            self.players.step()
        self._pass_bus(t_us)

    def _pass_bus(self, t_us: int) -> None:
        while self.bus.next_us <= t_us:
            at_us = max(self.bus.next_us, self.t_us)
            self._pass_to(at_us)
            self.bus.pass_to(at_us)
        self._pass_to(t_us)

    def _pass_to(self, t_us: int) -> None:
        if self.switch.held and self.switch.expires_us <= t_us:
            self.switch.expire()
        self.t_us = max(self.t_us, t_us)
        if not self.board_on:
            self.settle(t_us)
            return
        window = None if self.bus.frozen else self.chip.window(t_us)
        if window is None:
            if self.bus.frozen or not self.chip.cycle_us:
                self.settle(t_us)
            return
        start, end = window
        machine = self.machine
        state, sums = machine.state, machine.sums
        if state.time_s < (start - 1000) / 1e6:
            self.settle(start)
            self._begin_mean()
        self.settle(end)
        v_s, c, since = self._mark
        span = state.time_s - since
        out = self._output(span) if self._second else ()
        volts, amps = state.in_v, state.in_a
        if span > 0:
            volts, amps = (sums.in_v_s - v_s) / span, (sums.in_c - c) / span
        if self._second_s:  # its current passes the sensor too
            more = volts * self._second_s
            volts, amps = volts - more * self.rig.sensor.shunt_ohm, amps + more
        self.chip.latch(end, volts, amps, *out)
        self._begin_mean()
        if self._alert_bit:
            self._see_alert(end)

    def _begin_mean(self) -> None:
        """What the sensor sees is a mean from here on."""
        state, sums = self.machine.state, self.machine.sums
        self._mark = (sums.in_v_s, sums.in_c, state.time_s)
        if self._second:
            self._out_mark = (self._out_j(), state.converter_v, state.out_a)

    def _out_j(self) -> float:
        """Energy that has left the converter's output capacitor, towards the device."""
        sums = self.machine.sums
        return float(sums.out + self._path_ohm * sums.out_a2s)

    def _output(self, span: float) -> tuple[float, float]:
        """Channel 2's means: the volts between both ends of the cycle behind the shunt, and
        the current with which they make the energy that passed."""
        state = self.machine.state
        joules, began_v, began_a = self._out_mark
        volts, amps = (began_v + state.converter_v) / 2, (began_a + state.out_a) / 2
        if span > 0 and volts > 0:
            amps = (self._out_j() - joules) / span / volts
        return volts - amps * (self.rig.sensor.out_shunt_ohm or 0.0), amps

    def settle(self, t_us: int) -> None:
        """Step the machine itself up to t_us."""
        state = self.machine.state
        theta, time_s = state.theta_rad, state.time_s
        self.machine.advance(
            t_us / 1e6, self.hand, self.switch.connected, self.board_on, self.host_power,
            FINER if self.looked_at(t_us) else 1,
        )
        if self.turning.pulses and state.theta_rad > theta:
            self.turning.moved(state.theta_rad - theta, 1e6 * time_s, 1e6 * state.time_s)

    def looked_at(self, t_us: int) -> bool:
        """Does the chip convert so fast, or has the second load changed so lately, that steps
        of 4 ms would be too coarse?"""
        fast = self.board_on and 0 < self.chip.cycle_us <= FAST_US
        return fast or self._fine_until_us > t_us

    def rest(self, until_us: int) -> bool:
        """Where nothing moves and the board is off, time jumps: to until_us or to when the
        hand stirs. False: something moves, or stirs now."""
        machine, state = self.machine, self.machine.state
        if self.board_on or state.crank_rad_s != 0.0 or self.t_us >= until_us:
            return False
        if machine.finer > 1:
            return False
        if max(state.motor_a, state.in_a, state.out_a, state.converter_a) > SETTLED_A:
            return False
        torque, theta = self.hand.torque_nm, state.theta_rad
        t_us = self.t_us
        while t_us < until_us and torque(t_us / 1e6, theta, 0.0) == 0.0:
            t_us = min(until_us, t_us + REST_US)
        steps = int(t_us / 1e6 / STEP_S)
        passed = steps - machine.steps
        if passed <= 1:
            return False
        machine.steps = steps
        state.time_s = steps * STEP_S
        state.winding_c = machine.parts.warmer(state.winding_c, 0.0, 0.0, passed * STEP_S)
        machine.parts.warm(state.winding_c)
        self.t_us = t_us
        return True

    # ---------------------------------------------------------- what the board does

    def change(self, t_us: int, code: int, pin: int, value: int) -> None:
        """One change of an output, in order of time."""
        if code == _ops.CHANGE_PIN:
            if pin == self.switch.pin:
                self.switch.pin_changed(t_us, value)
            elif pin == self._second_pin:
                self._second_load(t_us, bool(value))
            elif pin == self.switch.let_go_pin:
                self.switch.let_go_changed(t_us, bool(value))
            elif self.lights.duty(pin, float(value)):
                self._shine(t_us)
            else:
                self.bus.clocked(pin, value)
        elif code == _ops.CHANGE_PWM:
            if self.lights.duty(pin, value / 65535):
                self._shine(t_us)
        elif code == _ops.CHANGE_PLAY:
            self.players.add(t_us, pin, value)
        elif code == _ops.CHANGE_STOP:
            self.players.clear(pin)
        elif code == _ops.CHANGE_TONE:
            if self.lights.tone(pin, value):
                self._shine(t_us)
        elif code == _ops.CHANGE_PIXEL:
            if self.lights.pixel(pin, value):
                self._shine(t_us)
        elif code == _ops.CHANGE_FEED:
            self.bites_us = t_us + 1000 * value if value else NEVER
        elif code == _ops.CHANGE_NOTE:
            self.note = value
        elif code == _ops.CHANGE_READ:
            self.chip.was_read(pin)
            self._see_alert(t_us)

    def write_register(self, register: int, value: int) -> None:
        self.settle(self.t_us)
        self._begin_mean()
        if self.bus.answers:
            self.chip.write(register, value, self.t_us)
        self._see_alert(self.t_us)

    def inputs(self) -> int:
        """Levels of all pins as the board reads them."""
        levels = ALL_HIGH & ~self._button_bit if self.button_down else ALL_HIGH
        if not self._alert_bit:
            return levels
        active_high = bool(self.chip.registers[6] & 2)
        return levels if self.chip.alert() == active_high else levels & ~self._alert_bit

    def more(self) -> tuple[int, int, int, int]:
        """The last words of an answer: R_PULSES, R_FAULT, R_HOST and R_PULSE_AT."""
        return self.turning.count, self.bus.code, int(self.host_power), self.turning.at_us

    def channels(self) -> tuple[int, ...]:
        """What the ADC pins read, 0 to 65535."""
        return self.analog.channels(self.machine.state, self._second_s)

    def power_came(self) -> None:
        self.board_on = True
        self.turning.count = 0
        self.chip.reset(self.t_us)

    def power_lost(self) -> None:
        """The board and the chip are without power from now on."""
        self.board_on = False
        self.bites_us, self.note = NEVER, 0
        self.pins_reset()
        self.chip.reset(self.t_us)

    def pins_reset(self) -> None:
        """All pins are inputs again: the lamp goes dark and no pulse comes."""
        self.switch.pins_reset()
        self._second_load(self.t_us, False)
        self.players.clear()
        if self.lights.dark():
            self._shine(self.t_us)

    # ------------------------------------------------------------------- inside

    def _second_load(self, t_us: int, on: bool) -> None:
        """A resistor across the converter's input: for the machine it is one more bleed."""
        conductance = 1 / (self.rig.bus.second_load_ohm or 1.0) if on else 0.0
        if conductance == self._second_s:
            return
        self._fine_until_us = t_us + RINGS_US
        self.settle(t_us)
        self._begin_mean()
        parts = self.machine.parts
        parts.bus_bleed += conductance - self._second_s
        parts.warm(self.machine.state.winding_c)
        self._second_s = conductance

    def _see_alert(self, t_us: int) -> None:
        self.switch.alert(t_us, self.rig.sensor.alert and self.chip.alert())

    def _played(self, t_us: int, pin: int, share: float) -> None:
        if self.lights.duty(pin, share):
            self._shine(t_us)

    def _shine(self, t_us: int) -> None:
        self.settle(t_us)
        self.hand.see(t_us / 1e6, self.lights.light)
