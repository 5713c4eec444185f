"""The virtual board in real time: its clients, their input, their Ctrl-C."""

from __future__ import annotations

import time

from steadyturn.twin.engine import BOOTING, HUNG_S, INTERRUPTIBLE, PROMPT, RUNNING, Engine
from steadyturn.twin.stand_ins import _ops

PATIENCE_S = 0.05  # a program that does not look up for so long gets its Ctrl-C as a signal


class LiveEngine(Engine):
    """What `Engine` does, and `live()`: one short turn of real time."""

    @property
    def takes_input(self) -> bool:
        """Is a program or a prompt there, and has it got the last Ctrl-C?"""
        return self.state in (RUNNING, PROMPT) and self._interrupt_since is None

    def live(self, most_s: float = 0.005) -> None:
        """One turn of real time; waits at most most_s for whatever comes first. Virtual time
        is counted from one anchor, so it never drifts."""
        plant = self.plant
        real = time.monotonic()
        reckoned = self._reckoned()
        if self._anchor is None or reckoned:
            self._anchor = real, plant.t_us
        began, from_us = self._anchor
        now = from_us + int((real - began) * 1e6)
        waits = self._question is not None and not self.wires.holds(plant.t_us)
        if waits and (reckoned or self._due <= now):
            self._slice(self._due)
            if self._question is not None and plant.t_us >= self._due:
                self._finish()
        elif not reckoned or self.asked:
            self._slice(min(now, self._boot_at) if self.state == BOOTING else now)
            if self.state == BOOTING and plant.t_us >= self._boot_at:
                self._start_child()
        wait_s = most_s
        if waits and self._question is not None:
            wait_s = min(most_s, max(0.0, (self._due - now) / 1e6))
        self.wires.listen(self, wait_s)
        self._interrupts()

    def _reckoned(self) -> bool:
        """Is the program within a bench's step? Then time is its own: samples each half a
        millisecond must not hang on how busy this computer is."""
        silent_s = time.monotonic() - self._silent_since
        return (self.state == RUNNING and silent_s < HUNG_S
                and self.plant.looked_at(self.plant.t_us))

    def look_for_client(self) -> None:
        """A client at the console is a USB host: it feeds the board, and time is real."""
        if self.wires.look():
            self._anchor = None
            self.plant.host_power = self.wires.client
            if self.wires.client:
                self._watch_power()

    def type(self, data: bytes) -> None:
        """Console input for the program or the prompt."""
        self._silent_since = time.monotonic()
        self.child.write_console(data)

    def ctrl_c(self) -> None:
        """While the program waits for an answer the interrupt travels with it, so that
        nothing is torn. A program that asks nothing gets a signal, a prompt the byte."""
        child = self.child
        catches = child.catches_interrupt()
        if catches is None:
            catches = self.state == RUNNING or self.asked
        if not catches:
            child.write_console(b"\x03")
            return
        if self._interrupt_since is None:
            self._interrupt_since = time.monotonic()
        if self._question is not None and self._question[_ops.A_OP] in INTERRUPTIBLE:
            self._finish()

    def _interrupts(self) -> None:
        since = self._interrupt_since
        if since is None or self.asked or self.child is None:
            return
        if time.monotonic() - since > PATIENCE_S:
            self._interrupt_since = None
            if self.child.catches_interrupt() is not False:
                self.child.interrupt()
            else:
                self.child.write_console(b"\x03")
