"""A small evening for the page Tonight: planned in a second, even where a machine is busy."""

from __future__ import annotations

from washsim import files
from washsim.scenario import Scenario
from washsim_dashboard import share


def quick() -> Scenario:
    """Four resin-coated prints and one tray: few schedules to try, short ones."""
    demo = files.example("demo")
    return demo.but(
        {
            "title": "Invented: four resin-coated prints",
            "vessels": demo.vessels[:1],
            "sheet.paper": "resin_coated",
            "sheet.explanation": "slow",
            "sheet.count": 4,
            "steps.1.baths": 3,
            "steps.1.duration": 120.0,
        }
    )


ADDRESS = f"tonight?s={share.pack(quick())}"
