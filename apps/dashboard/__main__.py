"""`python -m washsim_dashboard`: serve the app, by default on this machine only."""

from __future__ import annotations

import os

# before numpy comes in: at these sizes one BLAS thread is faster than several
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse

from washsim_dashboard.main import serve

if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="washsim_dashboard", description=__doc__)
    parser.add_argument("--port", type=int, default=5006, help="port to listen on (5006)")
    parser.add_argument("--address", default="127.0.0.1", help="address to listen on")
    parser.add_argument("--no-show", action="store_true", help="do not open a browser")
    asked = parser.parse_args()
    serve(port=asked.port, show=not asked.no_show, address=asked.address)
