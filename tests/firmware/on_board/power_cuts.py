"""Power cuts at every flash operation of a board's life, whole, torn and half-erased.

All operations of a workload (workloads.py) are recorded; then each prefix of the record is a
board whose power went there: it is mounted, its journal's own recovery runs, and it is asked
for what it had acknowledged. The operation after the prefix is also taken torn, in each way
that nor.tear knows. Of some cuts the recovery itself is cut at each of its operations.

Prints a line for each failure, with which it can be had alone, and at last one JSON object.
WORKLOAD: of workloads.NAMES; ROUNDS: its length; EVERY: each how many operations a cut; TORN:
how often each is torn each way; SEED; CUT, WAY: only this one.
"""

import json
import os

import judge
import nor
import workloads

WORKLOAD = os.getenv("WORKLOAD") or "steady"
ROUNDS = int(os.getenv("ROUNDS") or 2)
EVERY = int(os.getenv("EVERY") or 1)
TORN = int(os.getenv("TORN") or 1)
AGAIN = int(os.getenv("AGAIN") or 0)  # each how many cuts the recovery is cut too
SEED = int(os.getenv("SEED") or 1)
CUT = int(os.getenv("CUT") or -1)
WAY = os.getenv("WAY") or ""


class Cuts:
    def __init__(self, life, log):
        self.life = life
        self.log = log
        self.found = {
            "workload": life.name, "operations": len(log), "pages": life.newest,
            "erases": len([1 for op in log if op[1] is None]), "cuts": 0, "whole": 0, "torn": 0,
            "again": 0, "most_samples_lost": 0, "summaries": 0, "failures": 0, "seed": SEED,
        }

    def judge(self, image, mark, where, after=True):
        wrong = judge.judge(image, mark, self.life, self.found, after)
        if wrong:
            self.found["failures"] += 1
            print("WORKLOAD=%s ROUNDS=%d SEED=%d %s: %s" % (
                self.life.name, ROUNDS, SEED, where, "; ".join(wrong)))

    def one(self, number, image, spare):
        """Every way in which the power may go at this operation."""
        at, data, mark = self.log[number]
        self.found["cuts"] += 1
        if not WAY or WAY == "whole":
            spare[:] = image
            self.found["whole"] += 1
            self.judge(spare, mark, "CUT=%d WAY=whole" % number)
        for way in nor.WAYS_ERASE if data is None else nor.WAYS_PROGRAM:
            for turn in range(TORN):
                if WAY and WAY != way:
                    continue
                chance = nor.Chance(SEED * 1000003 + number * 101 + turn)
                spare[:] = image
                nor.tear(spare, at, data, chance, way)
                self.found["torn"] += 1
                again = AGAIN and number % AGAIN == 0 and not turn
                before = bytes(spare) if again else None
                self.judge(spare, mark, "CUT=%d WAY=%s" % (number, way))
                if again:
                    self._again(bytearray(before), mark, number, way)

    def _again(self, image, mark, number, way):
        """The power goes once more while the board recovers and goes on."""
        flash = nor.Flash(bytearray(image))
        flash.log = []
        flash.mark = lambda: None
        judge.go_on(flash)
        spare = bytearray(len(image))
        for at, data, _ in flash.log:
            spare[:] = image
            nor.tear(spare, at, data, nor.Chance(SEED + number), "half")
            self.found["again"] += 1
            self.judge(spare, mark, "CUT=%d WAY=%s, and again" % (number, way), after=False)
            nor.apply(image, at, data)

    def run(self):
        image = self.life.image
        spare = bytearray(len(image))
        for number in range(len(self.log)):
            if number == CUT or (CUT < 0 and number % EVERY == 0):
                self.one(number, image, spare)
            nor.apply(image, self.log[number][0], self.log[number][1])


def main():
    life = workloads.Life(WORKLOAD, os.getenv("FAULT") or "")
    log = life.live(ROUNDS)
    cuts = Cuts(life, log)
    cuts.run()
    print(json.dumps(cuts.found))


if __name__ == "__main__":
    main()
