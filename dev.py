"""One command for everything from a bare checkout: `python3 dev.py demo`, `test`, `run ARGS...`, `bench`, `lint`.

This file is read by whichever Python the user has, so it keeps to a syntax that Python 2.7 parses, and looks at the
version before anything else is imported. The work is in devtools/.
"""

import os
import sys

HOSTS = {(3, 11): "Blender 4.5 LTS", (3, 13): "Blender 5.2 LTS"}
BAD_INPUT, INTERRUPTED = 2, 130


def version_problem(version):
    """One sentence when no host exists for a Python `version` (a tuple of at least two numbers), otherwise None."""
    if tuple(version[:2]) in HOSTS:
        return None
    wanted = " or ".join("{0}.{1} (for {2})".format(pair[0], pair[1], HOSTS[pair]) for pair in sorted(HOSTS))
    found = ".".join(str(number) for number in version[:3])
    return "Armwright needs Python {0}, and this is Python {1}: start dev.py with one of those.".format(wanted, found)


def main(arguments):
    """Run one command and return its exit code; 2 with one sentence for what the user has to mend."""
    problem = version_problem(sys.version_info)
    if problem:
        sys.stderr.write("dev.py: " + problem + "\n")
        return BAD_INPUT
    sys.dont_write_bytecode = True  # a read-only or shared checkout stays as it is
    sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
    from devtools import commands

    return commands.main(arguments)


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
