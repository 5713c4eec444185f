"""A clock that only sleeping moves. Shadows the built-in in the firmware's tests."""

PERIOD = 1 << 30
now_us = 0
sleeps = 0


def ticks_us():
    return now_us & PERIOD - 1


def ticks_ms():
    return now_us // 1000 & PERIOD - 1


def ticks_add(a, b):
    return a + b & PERIOD - 1


def ticks_diff(a, b):
    return (a - b + PERIOD // 2 & PERIOD - 1) - PERIOD // 2


def sleep_us(us):
    global now_us, sleeps
    now_us += us
    sleeps += 1


def sleep_ms(ms):
    sleep_us(ms * 1000)
