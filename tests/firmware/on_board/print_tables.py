"""What the specifications show: prints JSON with tables of the code and two worked pages."""

import json

import bench

from steadyturn_fw import fields, pages
from steadyturn_fw.journal import Journal
from steadyturn_fw.patterns import BEAT, PARADE, PATTERNS
from steadyturn_fw.now import Now
from steadyturn_fw.tally import Tally


def table(head, rows):
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    for row in rows:
        lines.append("| " + " | ".join([str(cell) for cell in row]) + " |")
    return lines


def steps(pattern):
    words = ("off", "on", "high")
    parts = []
    for level, ms in pattern:
        parts.append("%s %s" % (words[level], "beat" if ms == BEAT else ms))
    return ", ".join(parts)


def hexed(page):
    lines = []
    for at in range(0, len(page), 16):
        row = " ".join(["%02x" % byte for byte in page[at : at + 16]])
        lines.append("    %3d  %s" % (at, row))
    return lines


def worked():
    """The two pages, by the journal's own code."""
    tally, now = Tally(bench.Settings()), Now()
    journal = Journal(tally, 2, 1, 550, 800, 20)
    now.validity = pages.VALID
    now.cue = pages.HOLD
    now.bus_mv, now.bus_ma, now.pace_dtpm, now.raw_dtpm = 6500, 500, 650, 650
    found = []

    def tick():
        now.t_ms += 20
        if now.t_ms == 5600:
            now.connected = True
            tally.connections += 1
            journal.event(pages.EV_CONNECTED, now.bus_mv, now.t_ms)
        tally.add(now)
        journal.add(now)
        if journal.pending:
            found.append(bytes(journal.closed))
            journal.pending = False

    while len(found) < 2:
        tick()
    while now.t_ms < 9800:
        tick()
    now.connected = False
    journal.event(pages.EV_RELEASED, pages.WHY_FADING, now.t_ms)
    journal.close(pages.FLAG_FADING)
    return found[1], bytes(journal.closed)


full, early = worked()
print(json.dumps({
    "whole": table(("field", "from", "to", "meaning"), fields.WHOLE),
    "may_miss": table(("field", "from", "to", "meaning"), fields.MAY_MISS),
    "choice": table(
        ("field", "one of", "meaning"), [(n, ", ".join(c), m) for n, c, m in fields.CHOICE]
    ),
    "text": table(("field", "at most", "meaning"), fields.TEXT),
    "order": table(("not larger", "than"), fields.ORDER),
    "lamp": table(
        ("pattern", "light", "piezo", "vibration"),
        [(n, steps(a), steps(b), steps(c)) for n, a, b, c in PATTERNS],
    ),
    "parade": table(
        ("place", "pattern", "seconds"),
        [
            (i + 1, PATTERNS[row][0], "%d.%d" % (ms // 1000, ms % 1000 // 100))
            for i, (row, ms) in enumerate(PARADE)
        ],
    ),
    "full": hexed(full),
    "early": hexed(early),
    "faults": list(pages.FAULTS),
    "reasons": list(pages.REASONS),
    "events": list(pages.EVENT_NAMES),
}))
