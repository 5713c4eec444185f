"""Settings from before: kept when they have charged, taken when the newest will not do."""

import bench
import check
import machine
import os

from asking import HERE, again, board, events, state, stored
from starting import Start, broken, fresh, here
from steadyturn_fw import keeper, settings


def put(name, data):
    with open(HERE + "/" + name, "wb") as file:
        file.write(data)


def test_settings_that_have_charged_are_kept():
    b = board()
    b.set(7500, 0)
    b.run(3000)
    b.set(6500, 500)
    b.run(8000)
    check.true(b.now.connected, "connected")
    b.set(300, 0)
    b.run(3000)
    check.equal("settings.old.json" in os.listdir(HERE), False, "not proven yet")
    b.set(7500, 0)
    b.run(5000)
    b.set(6500, 500)
    b.run(12000)
    check.equal("settings.old.json" in os.listdir(HERE), False, "not while it charges")
    b.set(300, 0)
    b.run(3000)
    with open(HERE + "/settings.old.json", "rb") as file:
        check.equal(file.read(), b.loaded.file, "the very file")
    check.equal("settings.old.json.new" in os.listdir(HERE), False, "nothing left over")
    b = again()
    check.equal(b.loop.keeper.wanted, False, "once is enough")
    b = again(label="other")
    check.equal(b.loop.keeper.wanted, True, "other settings")


def test_previous_settings_when_the_new_ones_are_refused():
    for bad in (b"", b"rubbish", None):
        board()
        put("settings.old.json", bench.encode(bench.VALUES))
        put("settings.json", bad) if bad is not None else os.remove(HERE + "/settings.json")
        loaded = settings.load(HERE + "/settings.json")
        check.equal((loaded.previous, loaded.settings.label), (True, "bench"), "taken")
        check.true(loaded.problems, "and why is known")


def test_charging_goes_on_with_previous_settings():
    board()
    put("settings.old.json", bench.encode(bench.VALUES))
    b = again(low_dtpm=1)
    b.set(7500, 0)
    b.run(3000)
    b.set(6500, 500)
    b.run(3000)
    now = state(b)
    check.equal((now["connected"], now["fault"], now["settings_ok"]), (1, 1, 2), "state")
    check.equal(now["settings_crc"], b.loaded.crc.high << 16 | b.loaded.crc.low, "whose CRC")
    found = [pair for page in stored(b) for pair in events(page)]
    check.true(("previous_settings", b.loaded.crc.low) in found, "the journal says so")
    check.true(("fault", 1) in found, "as a fault")
    machine.lamp.clear()
    b.run(12000)
    lit = [y[0] - x[0] for x, y in zip(machine.lamp, machine.lamp[1:]) if x[1]]
    check.equal(lit.count(600), 1, "one long flash in ten seconds, between the cue")


def test_pins_that_the_board_lacks_lead_to_the_previous_settings():
    keep = machine.Pin.__init__

    def strict(self, number, mode=-1, pull=-1, value=None):
        if number > 29:
            raise ValueError("invalid pin")
        keep(self, number, mode, pull, value)

    board()
    put("settings.old.json", bench.encode(bench.VALUES))
    machine.Pin.__init__ = strict
    try:
        b = again(switch_pin=40)
        check.equal((b.loaded.previous, b.loaded.problems), (True, ["pins"]), "previous")
        check.equal(state(b)["settings_ok"], 2, "in force")
        values = dict(bench.VALUES)
        values["switch_pin"] = 41
        put("settings.old.json", bench.encode(values))
        b = again(switch_pin=40)
        check.equal(state(b)["settings_ok"], 0, "neither will do")
    finally:
        machine.Pin.__init__ = keep


def test_the_third_start_doubts_the_newest_settings():
    board(label="newest")
    put("settings.old.json", bench.encode(bench.VALUES))
    files = here()
    fresh(machine.WDT_RESET)
    for _ in range(3):
        Start(broken)
    check.equal(files.labels, ["newest", "newest", "bench"], "which were tried")
    os.remove(HERE + "/settings.old.json")
    check.equal(settings.load(HERE + "/settings.json", True).settings.label, "newest", "no others")


def test_a_full_flash_does_not_stop_the_keeper():
    b = board()
    k = keeper.Keeper(b.loaded, b.loop.switch)
    k.name = "/no/such/folder/x"
    k.save()
    check.equal(k.wanted, False, "not again in this start")


check.run(globals())
