"""The link's questions of a bench. Loaded when the first of them comes; what a bench itself
needs (bench.py, step.py) only when one is ordered, with the load released before: that takes
longer than the load is guarded for.
"""

import gc

from steadyturn_fw import bench_frames, frames

WRONG = -1
kind = frames.BENCH  # of the answer that was made last


def answer(loop, line, length, frame):
    """Bytes of the payload that was put into `frame`, or WRONG; `kind` is its kind then."""
    words = bytes(line[:length]).split(b" ")
    word = words.pop(0)
    numbers = [_number(text) for text in words]
    alone = not words
    if word == frames.ASK_BENCH:
        if alone:
            return _told(loop, frame)
        if words == [bench_frames.BENCH_END]:
            if loop.bench is not None:
                loop.bench.end(bench_frames.END_ASKED)
            return _told(loop, frame)
        return _ordered(loop, frame, numbers)
    if word == frames.ASK_STEP and alone:
        if loop.bench is not None:
            loop.bench.step.run()
        return _told(loop, frame)
    if word == frames.ASK_SAMPLES and len(numbers) == 1 and numbers[0] >= 0:
        return _samples(loop, frame, numbers[0])
    return WRONG


def _number(text):
    """-1: it is none, or none that can be meant."""
    if not 0 < len(text) <= 5:
        return -1
    value = 0
    for digit in text:
        if not 48 <= digit <= 57:
            return -1
        value = value * 10 + digit - 48
    return value


def _ordered(loop, frame, numbers):
    if not _in_range(numbers):
        return WRONG
    if loop.sensor is None:
        return _none(frame, bench_frames.END_NO_SETTINGS)
    pace, tolerance, load = numbers
    if loop.bench is None or not loop.bench.on:
        asked = loop.switch.asked
        loop.release()
        loop.switch.asked = asked
        if not _loaded(loop):
            return _none(frame, bench_frames.END_NO_MEMORY)
        if not loop.bench.can(load):
            return WRONG
        loop.bench.begin(asked)
    elif not loop.bench.can(load):
        return WRONG
    loop.bench.take(pace, tolerance, load)
    return _told(loop, frame)


def _in_range(numbers):
    return (
        len(numbers) == 3
        and bench_frames.BENCH_LEAST_DTPM <= numbers[0] <= bench_frames.BENCH_MOST_DTPM
        and 0 <= numbers[1] <= bench_frames.BENCH_MOST_DTPM
        and 0 <= numbers[2] <= bench_frames.LOAD_SECOND
    )


def _loaded(loop):
    """False: there is not enough memory for it."""
    if loop.bench is None:
        gc.collect()
        try:
            from steadyturn_fw.bench import Bench

            loop.bench = Bench(loop)
        except (MemoryError, ImportError):  # the latter of what an earlier one left half loaded
            return False
    return True


def _told(loop, frame):
    global kind
    bench = loop.bench
    if bench is None:
        return _none(frame, bench_frames.END_NOT_BEGUN)
    kind = frames.BENCH
    bench.silent_ms = 0
    bench.fill(frame, frames.HEAD_BYTES)
    return bench_frames.BENCH_BYTES


def _none(frame, why):
    """None was begun since the start: zeros but for the reason."""
    global kind
    kind = frames.BENCH
    for i in range(bench_frames.BENCH_BYTES):
        frame[frames.HEAD_BYTES + i] = 0
    places = bench_frames.places(bench_frames.BENCH_FIELDS)
    frame[frames.HEAD_BYTES + places["ended"][0]] = why
    frame[frames.HEAD_BYTES + places["step_why"][0]] = bench_frames.STEP_NO_BENCH
    return bench_frames.BENCH_BYTES


def _samples(loop, frame, first):
    global kind
    bench = loop.bench
    size = 0
    if bench is not None:
        bench.silent_ms = 0
        size = bench.step.fill(frame, frames.HEAD_BYTES, first)
    kind = frames.SAMPLES if size else frames.END
    return size
