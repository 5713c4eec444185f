"""A clock that only sleeping moves. Shadows the built-in in the firmware's tests."""

MASK = (1 << 30) - 1  # the clocks' period is 2**30, which itself is no small integer on 32 bits
HALF = 1 << 29
now_us = 0
sleeps = 0


def ticks_us():
    return now_us & MASK


def ticks_ms():
    return now_us // 1000 & MASK


def ticks_add(a, b):
    return a + b & MASK


def ticks_diff(a, b):
    return (a - b + HALF & MASK) - HALF


def sleep_us(us):
    global now_us, sleeps
    now_us += us
    sleeps += 1


def sleep_ms(ms):
    sleep_us(ms * 1000)
