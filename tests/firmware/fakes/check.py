"""The tests' smallest frame: runs on MicroPython, tells one line a test."""

import sys


def equal(found, right, what=""):
    if found != right:
        raise AssertionError("%s: %r, should be %r" % (what, found, right))


def true(found, what=""):
    if not found:
        raise AssertionError(what)


def near(found, right, by, what=""):
    if not right - by <= found <= right + by:
        raise AssertionError("%s: %r, should be %r within %r" % (what, found, right, by))


def run(names):
    """Call every test_* of a module; "ok NAME" or "FAIL NAME" and where."""
    for name in sorted(names):
        if name.startswith("test_"):
            try:
                names[name]()
            except Exception as error:
                print("FAIL", name)
                sys.print_exception(error)
            else:
                print("ok", name)
