"""A virtual board: the real firmware on a real interpreter, wired to the machine model.

    with Twin(rig, person=Person(rig, seed=1)) as twin:
        ...                      # steadyturn flash, or mpremote, on twin.port
        twin.run(60)             # a minute passes as fast as it goes
        print(twin.truth.out_j)

Virtual time stands still unless `run` lets it pass or a client has the port open.
With a client the board has USB power and time is real. Limits: what no twin can
prove (flash stalls of a real chip, sagging supplies, real USB) needs a board.
"""

from __future__ import annotations

import contextlib
import functools
import tempfile
import threading
import time
import weakref
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

from steadyturn.errors import Failed
from steadyturn.rig.types import Rig
from steadyturn.twin import glimpse as looks
from steadyturn.twin import interpreter as interpreters
from steadyturn.twin.analog import Analog
from steadyturn.twin.bus_faults import BusFaults
from steadyturn.twin.engine import Heap
from steadyturn.twin.flash import Flash, Operation
from steadyturn.twin.glimpse import Glimpse, Truth
from steadyturn.twin.interpreter import Interpreter
from steadyturn.twin.lights import Lights
from steadyturn.twin.live import LiveEngine
from steadyturn.twin.person import Idle
from steadyturn.twin.plant import Hand, Plant
from steadyturn.twin.readings import Readings
from steadyturn.twin.turning import Turning

LOOK_S = 0.01  # how often it is looked whether a client came, real time
TURN_US = 1_000_000  # how often during a run, virtual time


class Twin:
    """rig: the machine. image: the flash's image file, made when it is not there (None: a
    blank one that is removed in the end). seed: of every chance in board and sensor; with the
    rig's name it makes the board's unique id, unless the image has one (`flash.make`).
    person: turns the handle (None: nobody does); a `Person` has a seed of its own.
    interpreter: None takes the best one here. ideal_sensor: neither errors nor noise.
    real_time: time passes, in real time, also without a client.

    Raises WrongInput (image, STEADYTURN_MICROPYTHON) and Failed (it cannot be started).
    A failure while a client is served is raised by the next call.
    """

    def __init__(
        self, rig: Rig, *, image: Path | None = None, seed: int = 0, person: Hand | None = None,
        interpreter: Interpreter | None = None, ideal_sensor: bool = False,
        real_time: bool = False,
    ) -> None:
        self._stopping = threading.Event()  # these two first: __del__ comes also when this fails
        self._cleanup = contextlib.ExitStack()
        self.rig = rig
        self.seed = seed
        self.real_time = real_time
        self.interpreter = interpreter or interpreters.find()
        self._plant = Plant(rig, seed, ideal_sensor)
        self._plant.hand = person or Idle()
        if image is None:
            folder = self._cleanup.enter_context(
                tempfile.TemporaryDirectory(prefix="steadyturn-twin-"))
            image = Path(folder) / "board.img"
        self.image = image
        self._lock = threading.RLock()
        self._wanted = 0  # threads that wait for their turn
        self._thread: threading.Thread | None = None
        self._failure: BaseException | None = None
        self._engine = self._make()

    def _make(self) -> LiveEngine:
        try:
            if self.interpreter.kind == "cpython":
                from steadyturn.twin.plain import PlainFlash, spawn_plain
                from steadyturn.twin.wires import DirectWires

                return LiveEngine(self._plant, PlainFlash(self.image, self.seed), DirectWires(),
                              spawn_plain, self.seed)
            from steadyturn.twin.process import UnixChild
            from steadyturn.twin.wires import PortWires

            flash = Flash(self.image, self.seed)
            self._cleanup.callback(flash.close)
            return LiveEngine(self._plant, flash, PortWires(),
                          functools.partial(UnixChild, self.interpreter), self.seed)
        except BaseException:
            self._cleanup.close()
            raise

    # ------------------------------------------------------------------ start and stop

    def start(self) -> Twin:
        """Begin to serve the port."""
        if self._thread is None:
            self._thread = threading.Thread(
                target=_serve, args=(weakref.ref(self), self._stopping), name="virtual board",
                daemon=True,
            )
            self._thread.start()
        return self

    def stop(self) -> None:
        """End the board and its program, and remove what was temporary."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None
        self._engine.close()
        self._cleanup.close()

    def __enter__(self) -> Twin:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def __del__(self) -> None:
        self._stopping.set()
        with contextlib.suppress(Exception):  # half made, or already stopped
            self._engine.close()
            self._cleanup.close()

    def prepare(self, settings: bytes | None = None, files: Mapping[str, bytes] | None = None
                ) -> None:
        """Put the firmware (or other files), and settings, straight onto the flash, without
        a port; the board must be off. The normal way is `steadyturn flash`."""
        from steadyturn.twin import prepare

        with self._turn() as engine:
            if engine.child is not None:
                raise Failed("The virtual board is running: its files come over its port.")
            wanted = dict(prepare.firmware() if files is None else files)
            if settings is not None:
                wanted[prepare.SETTINGS] = settings
            if self.interpreter.kind == "cpython":
                prepare.lay_out(engine.flash.path, wanted)
            else:
                prepare.install(engine.flash, self.interpreter, wanted)

    def check(self) -> None:
        """Raise what has ended the board while it served a client, if something has."""
        if self._failure is not None:
            raise self._failure

    # ------------------------------------------------------------------ time

    def run(
        self, seconds: float, watch: Callable[[Glimpse], Any] | None = None, every_s: float = 0.1
    ) -> None:
        """Let `seconds` of virtual time pass, as fast as it goes (in real time while a client
        has the port open). watch is called every every_s of virtual time."""
        with self._turn() as engine:
            plant = engine.plant
            end = plant.t_us + round(seconds * 1e6)
            step = TURN_US if watch is None else max(1, round(every_s * 1e6))
            look = plant.t_us + step
            while plant.t_us < end:
                engine.look_for_client()
                goal = min(end, look)
                if engine.wires.client:
                    while engine.wires.client and plant.t_us < goal:
                        engine.live()
                        engine.look_for_client()
                else:
                    engine.free(goal)
                if plant.t_us >= look:
                    look += step
                    if watch is not None:
                        watch(looks.glimpse(engine))

    def _serve_once(self) -> None:
        if self._wanted:
            time.sleep(0.001)  # a lock is not fair: step back
        try:
            with self._lock:
                engine = self._engine
                engine.look_for_client()
                busy = engine.wires.client or self.real_time
                if busy:
                    engine.live()
        except BaseException as error:
            self._failure = error
            self._stopping.set()
            return
        if not busy:
            self._stopping.wait(LOOK_S)

    @contextlib.contextmanager
    def _turn(self) -> Iterator[LiveEngine]:
        """The engine, for this thread alone."""
        self._wanted += 1
        with self._lock:
            self._wanted -= 1
            self.check()
            yield self._engine

    # ------------------------------------------------------------------ looking, touching

    @property
    def port(self) -> str | None:
        """What a client opens; None where there is no serial port (`direct` instead)."""
        return getattr(getattr(self._engine.wires, "port", None), "name", None)

    @property
    def direct(self) -> Any:
        """The board without a serial port: `stream()` and `files()`; None where `port` is."""
        if self.port is not None:
            return None
        from steadyturn.twin.direct import Direct

        return Direct(self)

    @property
    def stopped(self) -> bool:
        return self._stopping.is_set()

    @property
    def person(self) -> Hand:
        return self._plant.hand

    @person.setter
    def person(self, hand: Hand | None) -> None:
        with self._turn():
            self._plant.settle(self._plant.t_us)
            self._plant.hand = hand or Idle()
            self._plant.hand.see(self._plant.t_us / 1e6, self._plant.light)

    @property
    def t_s(self) -> float:
        """Virtual time since the start, s."""
        return self._plant.t_us / 1e6

    @property
    def truth(self) -> Truth:
        with self._turn() as engine:
            return looks.truth(engine)

    def glimpse(self) -> Glimpse:
        with self._turn() as engine:
            return looks.glimpse(engine)

    def misread(self, volts: tuple[float, float] = (0.0, 0.0),
                amps: tuple[float, float] = (0.0, 0.0)) -> None:
        """Have the sensor's chip read so much too high from now on: a share, and V or A."""
        with self._turn() as engine:
            engine.plant.chip.misread(volts, amps)

    @property
    def flash_log(self) -> list[Operation] | None:
        """Every flash operation since recording began; None: not recording."""
        return self._engine.flash.log

    def record_flash(self) -> None:
        """Record flash operations from now on."""
        with self._turn() as engine:
            engine.flash.log = []

    def record_readings(self) -> Readings:
        """Take down every reading that the program is given, from its next start on."""
        with self._turn() as engine:
            engine.readings = Readings(engine.plant.switch.pin)
            return engine.readings

    @property
    def heaps(self) -> list[Heap]:
        """What `measure_heap` has found."""
        return self._engine.heaps

    def measure_heap(self) -> None:
        """Have the running program's heap looked at when it next wakes; takes no virtual time."""
        with self._turn() as engine:
            engine.measure = True

    @property
    def plugged(self) -> bool:
        """False: the device's plug is pulled."""
        return self._plant.machine.plugged

    @plugged.setter
    def plugged(self, plugged: bool) -> None:
        with self._turn() as engine:
            engine.plant.settle(engine.plant.t_us)
            engine.plant.machine.plugged = plugged

    @property
    def lamp(self) -> Lights:
        """The lamp as it is now; a hand is told of each change."""
        return self._plant.lights

    @property
    def analog(self) -> Analog:
        """The board's ADC pins: `twin.analog.thermistor_c = 80.0` warms the thermistor,
        `twin.analog.thermistor_wire = "broken"` (or "shorted") breaks its wire."""
        return self._plant.analog

    @property
    def bus(self) -> BusFaults:
        """The sensor's bus, to put faults on: `twin.bus.fault("nack", 10.0, 12.5)` in virtual
        seconds, `twin.bus.clear()`; `bus_faults` has the kinds."""
        return self._plant.bus

    @property
    def sensor_fitted(self) -> bool:
        """False: nobody answers on the I2C bus, as with a broken wire."""
        return self._plant.sensor_fitted

    @sensor_fitted.setter
    def sensor_fitted(self, fitted: bool) -> None:
        self._plant.sensor_fitted = fitted

    @property
    def turning(self) -> Turning:
        """The turn sensor: its pulses so far, gears that slip, a contact that is dead."""
        return self._plant.turning

    @property
    def button_down(self) -> bool:
        """True: the board's button is held."""
        return self._plant.button_down

    @button_down.setter
    def button_down(self, down: bool) -> None:
        self._plant.button_down = down

    def press(self, seconds: float = 0.2) -> None:
        """Press the board's button; `seconds` of virtual time pass meanwhile."""
        self.button_down = True
        try:
            self.run(seconds)
        finally:
            self.button_down = False

    def reset(self) -> None:
        """Press the reset button."""
        with self._turn() as engine:
            engine.reset()

    def cut_power(self) -> None:
        """Take the board's power away, now; it starts again when it gets enough."""
        with self._turn() as engine:
            engine.die()


def _serve(reference: weakref.ref[Twin], stopping: threading.Event) -> None:
    """The thread that serves the port; it does not keep a twin alive that nobody holds."""
    while not stopping.is_set():
        twin = reference()
        if twin is None:
            return
        twin._serve_once()
        del twin
