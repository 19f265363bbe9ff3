"""Whether a request comes from the machine that the app runs on, and from its own pages."""

from __future__ import annotations

from collections.abc import Mapping
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

RELAYED = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip", "Via")
"""Headers that a relay adds; the app itself is never asked through one by its own machine."""


def is_own(address: str) -> bool:
    """Whether only this machine can reach an address; False for what is no address."""
    if address == "localhost":
        return True
    try:
        found = ip_address(address)
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return bool((mapped or found).is_loopback)


def asks(request: Any) -> bool:
    """Whether the browser that asks runs on this machine and was sent here by a name of it.

    request: of Tornado, or what Bokeh made of one; None if there is none. The name guards against
    a page elsewhere whose own name was made to mean this machine.
    """
    if request is None or not is_own(str(getattr(request, "remote_ip", ""))):
        return False
    headers: Mapping[str, str] = request.headers
    return _is_ours(f"//{headers.get('Host', '')}") and not any(one in headers for one in RELAYED)


def asks_from_own_page(request: Any, origin: str) -> bool:
    """The same of a socket, which any page in the browser may open: only our own may have it."""
    host = urlsplit(origin).netloc
    return asks(request) and _is_ours(origin) and host == request.headers.get("Host")


def _is_ours(url: str) -> bool:
    try:
        return is_own(urlsplit(url).hostname or "")
    except ValueError:
        return False
