"""What the lamp really plays: prints JSON, levels a tick for each kind and signal."""

import json

from steadyturn_fw import pages
from steadyturn_fw.lamp import Lamp
from steadyturn_fw.patterns import COLUMN

TICKS = 400


class Light:
    level = 0

    def show(self, level, hue):
        self.level = level


def played(kind, signal):
    """The lamp from the start of a signal on, at a beat of 0.86 s."""
    light = Light()
    it = Lamp(light, kind, 600000 // 860)
    cue, fault = pages.HOLD, 0
    if signal in pages.CUES[:5]:
        cue = pages.CUES.index(signal)
    elif signal == "fault":
        cue, fault = pages.FAULT, 2
    if signal in ("percent", "count"):
        for _ in range(60):
            it.update(cue, 0, 20)
        if signal == "percent":
            it.wink()
        else:
            it.count(12)
    levels = []
    for _ in range(TICKS):
        it.update(cue, fault, 20)
        levels.append(light.level)
    return levels


found = {}
for kind in COLUMN:
    found[kind] = {}
    for signal in ("rest", "faster", "hold", "slower", "stop", "percent", "fault", "count"):
        found[kind][signal] = played(kind, signal)
print(json.dumps(found))
