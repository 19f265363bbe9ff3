"""The other process of aside.py: answers what comes in by what goes out, until nothing comes.

    python -m washsim_dashboard.helper

Both are pickles between two processes of one user: what to call and of what, then what came of it
and whether that is an error.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys

MANNERS = 10
"""How much it gives way to others, as `nice` counts."""


def main() -> None:
    if hasattr(os, "nice"):
        os.nice(MANNERS)
    # a key that ends the server is for the server; what comes in ends with it
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    comes, goes = sys.stdin.buffer, sys.stdout.buffer
    # whatever is printed on the way must not end up among the answers
    sys.stdout = sys.stderr
    while True:
        try:
            work, asked = pickle.load(comes)
        except EOFError:
            return
        try:
            answer = work(*asked), False
        except Exception as problem:
            answer = problem, True
        try:
            pickle.dump(answer, goes)
            goes.flush()
        except BrokenPipeError:
            # nobody waits for it any more; nor may closing it complain
            os.dup2(os.open(os.devnull, os.O_WRONLY), goes.fileno())
            return


if __name__ == "__main__":
    main()
