"""The Join page: the address under which a class reaches this machine, and its QR code."""

from __future__ import annotations

import socket
from ipaddress import ip_address
from urllib.parse import urlsplit

import panel as pn
import segno

from washsim_dashboard import class_view, layout, nearby

ROUTES = ("10.255.255.255", "172.31.255.255", "192.168.255.255", "192.0.2.1")
"""Addresses in the private ranges (RFC 1918) and one in none (RFC 5737); nothing is sent there."""


def page(listening: str) -> pn.Template:
    """The page of a server that listens at an address."""
    used = port(str(pn.state.headers.get("Host", "")))
    urls = [url(one, used) for one in reachable(listening)]
    return layout.template(
        "join.html",
        here=class_view.ADDRESS,
        roots={},
        values={
            "urls": urls,
            "code": code(urls[0]) if urls else "",
            "listening": listening,
            "own": nearby.is_own(listening),
        },
    )


def reachable(listening: str) -> tuple[str, ...]:
    """Hosts under which other machines reach a server that listens there; none if they cannot."""
    if nearby.is_own(listening):
        return ()
    return network_addresses() if ip_address(listening).is_unspecified else (listening,)


def network_addresses() -> tuple[str, ...]:
    """This machine's addresses on its networks, as the system would choose them for a sender.

    Connecting a datagram socket only looks up the route; it sends nothing.
    """
    found = []
    for route in ROUTES:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((route, 9))
            except OSError:
                continue  # no route there
            found.append(probe.getsockname()[0])
    return tuple(one for one in dict.fromkeys(found) if not ip_address(one).is_loopback)


def port(host: str) -> int:
    """The port in a request's Host header; the usual one where it names none that can be."""
    try:
        return urlsplit(f"//{host}").port or 80
    except ValueError:
        return 80


def url(host: str, port: int) -> str:
    """The address of the Class page there, as one types it."""
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{port}/class"


def code(text: str) -> str:
    """The QR code of a text as SVG, black on white: cameras want it so in any theme."""
    return segno.make(text, error="m").svg_inline(
        scale=8,
        dark="#000",
        light="#fff",
        omitsize=True,
        title=f"QR code of {text}",
        svgclass="qr",
        lineclass=None,
    )
