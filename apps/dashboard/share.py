"""A scenario in an address and as a file: what a visitor takes along, and what comes back.

A link holds the scenario's TOML text, packed (zlib, RFC 1950) and written in the letters that an
address allows (base64url, RFC 4648). Nothing of it is kept on the server.
"""

from __future__ import annotations

import base64
import re
import zlib
from functools import lru_cache

from washsim import files, readings
from washsim.errors import InputError
from washsim.readings import Tests
from washsim.scenario import Scenario

LONGEST = 50_000
"""Characters of a packed scenario: what a web server takes as an address, with room to spare."""


@lru_cache(maxsize=256)
def pack(scenario: Scenario) -> str:
    """The text that stands for a scenario in an address."""
    return _packed(files.dumps(scenario))


@lru_cache(maxsize=64)
def pack_readings(tests: Tests) -> str:
    """The text that stands for readings and their scale in an address."""
    return _packed(readings.dumps(tests))


def _packed(text: str) -> str:
    packed = zlib.compress(text.encode(), 9)
    return base64.urlsafe_b64encode(packed).decode().rstrip("=")


def unpack(text: str) -> Scenario:
    """The scenario of an address; InputError in one sentence where the text is not one."""
    return files.loads(_unpacked(text, "link"), "link")


def unpack_readings(text: str) -> Tests:
    """The readings of an address; InputError in one sentence where the text is not one."""
    where = "readings in the link"
    return readings.loads(_unpacked(text, where), where)


def _unpacked(text: str, where: str) -> str:
    if len(text) > LONGEST:
        raise InputError(f"{where}: expected at most {LONGEST} characters, got {len(text)}")
    try:
        packed = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
        reader = zlib.decompressobj()
        # a few bytes can unpack to gigabytes: no more than a file may hold is read
        written = reader.decompress(packed, files.LARGEST)
        if not reader.eof:
            raise InputError(f"{where}: it is cut short, or holds more than it can")
        return written.decode()
    except (ValueError, zlib.error):  # of base64, of the text's encoding
        raise InputError(f"{where}: it is damaged and cannot be read") from None


def file_name(scenario: Scenario, ending: str) -> str:
    """A plain file name from the scenario's title."""
    words = re.sub(r"[^a-z0-9]+", "_", scenario.title.lower()).strip("_")
    return f"{words[:60].rstrip('_') or 'wash'}.{ending}"
