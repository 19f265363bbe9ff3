"""Serves the app: each page at its plain address, scripts and styles beside."""

from __future__ import annotations

from ipaddress import ip_address

import panel as pn

from washsim_dashboard import compare, downloads, explore, layout


def serve(port: int = 5006, show: bool = True, address: str = "127.0.0.1") -> None:
    """Serve until interrupted; `show` opens the browser.

    An address other than this machine's own, such as 0.0.0.0, lets a class in: then pages
    reached under any name of this machine may connect.
    """
    pn.serve(
        {"/": explore.page, "/compare": compare.page},
        port=port,
        address=address,
        websocket_origin=None if is_own(address) else "*",
        show=show,
        title="washsim",
        static_dirs={"assets": str(layout.ASSETS)},
        extra_patterns=downloads.PATTERNS,
    )


def is_own(address: str) -> bool:
    """Whether only this machine can reach an address."""
    return address == "localhost" or ip_address(address).is_loopback
