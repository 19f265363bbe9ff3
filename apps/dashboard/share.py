"""A scenario in an address and as a file: what a visitor takes along, and what comes back.

A link holds the scenario's TOML text, packed (zlib, RFC 1950) and written in the letters that an
address allows (base64url, RFC 4648). Nothing of it is kept on the server.
"""

from __future__ import annotations

import base64
import re
import zlib
from functools import lru_cache

from washsim import files
from washsim.errors import InputError
from washsim.scenario import Scenario

LONGEST = 50_000
"""Characters of a packed scenario: what a web server takes as an address, with room to spare."""


@lru_cache(maxsize=256)
def pack(scenario: Scenario) -> str:
    """The text that stands for a scenario in an address."""
    packed = zlib.compress(files.dumps(scenario).encode(), 9)
    return base64.urlsafe_b64encode(packed).decode().rstrip("=")


def unpack(text: str) -> Scenario:
    """The scenario of an address; InputError in one sentence where the text is not one."""
    where = "link"
    if len(text) > LONGEST:
        raise InputError(f"{where}: expected at most {LONGEST} characters, got {len(text)}")
    try:
        packed = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
        reader = zlib.decompressobj()
        # a few bytes can unpack to gigabytes: no more than a file may hold is read
        written = reader.decompress(packed, files.LARGEST)
        if not reader.eof:
            raise InputError(f"{where}: it is cut short, or holds more than a scenario can")
        toml = written.decode()
    except (ValueError, zlib.error):  # of base64, of the text's encoding
        raise InputError(f"{where}: it is damaged and holds no scenario") from None
    return files.loads(toml, where)


def file_name(scenario: Scenario, ending: str) -> str:
    """A plain file name from the scenario's title."""
    words = re.sub(r"[^a-z0-9]+", "_", scenario.title.lower()).strip("_")
    return f"{words[:60].rstrip('_') or 'wash'}.{ending}"
