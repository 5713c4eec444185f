"""Starts the firmware; where its files are broken, the one before."""

import sys


def start():
    for folder in ("/lib", "/prev"):
        sys.path.insert(0, folder)
        try:
            import steadyturn_fw.main as program
        except Exception as error:
            sys.print_exception(error)
            sys.path.pop(0)
            for name in list(sys.modules):
                if name.startswith("steadyturn_fw"):
                    del sys.modules[name]
        else:
            program.FELL_BACK = folder != "/lib"
            program.run()
            return


start()
