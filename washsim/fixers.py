"""How the prints were fixed. Concentrations are those of the thiosulfate ion, kg/m3."""

from __future__ import annotations

import math
from dataclasses import dataclass

from washsim import tables
from washsim.errors import InputError
from washsim.fields import check, choice, quantity, text
from washsim.liquids import STIRRINGS, at_temperature
from washsim.papers import Sheet
from washsim.units import celsius, litre

FIXERS = ("rapid", "plain")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fixing:
    """How the prints were fixed."""

    fixer: str = choice(FIXERS, "rapid (ammonium) concentrate or plain hypo", default="rapid")
    dilution: str | None = text("parts of concentrate + water, such as '1+4'", default=None)
    thiosulfate: float | None = quantity(
        "g_l", 1, 400, "thiosulfate ion in the working bath; else from dilution", default=None
    )
    stock: float | None = quantity(
        "g_l",
        20,
        700,
        "thiosulfate ion in the undiluted concentrate; else the table's",
        default=None,
    )
    duration: float = quantity("s", 1, 7200, "time in the fixer, all baths together", default=60.0)
    baths: int = quantity("", 1, 2, "one fixing bath or two", default=1, whole=True)
    sheets_per_litre: float = quantity(
        "", 0, 500, "sheets already fixed in each litre of the (first) bath", default=0.0
    )
    silver: float | None = quantity(
        "g_l", 0, 20, "silver in the last fixing bath; else from sheets per litre", default=None
    )
    temperature: float = quantity("c", 5, 35, "temperature of the fixer", default=celsius(20))
    stirring: str = choice(STIRRINGS, "how the fixer is moved", default="rocking")
    diffusivity: float | None = quantity(
        "m2_s", 1e-11, 5e-9, "thiosulfate in free fixer at 20 °C; else from its salt", default=None
    )

    def __post_init__(self) -> None:
        check(self)
        if self.thiosulfate is not None and self.dilution is not None:
            raise InputError("thiosulfate_g_l: expected either it or dilution, got both")
        if self.dilution is not None:
            parts(self.dilution)

    @property
    def salt(self) -> str:
        return tables.entry(f"liquids.fixer.{self.fixer}.salt")

    @property
    def concentration(self) -> float:
        """Thiosulfate ion in the working bath, kg/m3."""
        if self.thiosulfate is not None:
            return self.thiosulfate
        stock = self.stock
        if stock is None:
            stock = tables.datum(f"liquids.fixer.{self.fixer}.stock").si
        usual = tables.entry(f"liquids.fixer.{self.fixer}").get("usual_dilution")
        dilution = self.dilution or usual
        if dilution is None:
            return stock
        concentrate, water = parts(dilution)
        return stock * concentrate / (concentrate + water)

    @property
    def free_diffusivity(self) -> float:
        """In the working bath at its temperature, m2/s."""
        if self.diffusivity is not None:
            return at_temperature(self.diffusivity, celsius(20), self.temperature)
        salt = f"liquids.salt.{self.salt}"
        dilute = tables.datum(f"{salt}.free_diffusivity_25").si
        crowded = dilute * tables.datum(f"{salt}.concentration_factor").si
        return at_temperature(crowded, celsius(25), self.temperature)

    def silver_in_first_bath(self, sheet: Sheet) -> float:
        """Dissolved silver in the only or the first bath, kg/m3."""
        if self.silver is not None and self.baths == 1:
            return self.silver
        dissolved = tables.datum("limits.silver.dissolved").si
        return self.sheets_per_litre / litre * sheet.area * dissolved

    def silver_in_last_bath(self, sheet: Sheet, liquid: float) -> float:
        """Dissolved silver in the liquid that sheets carry off, kg/m3.

        liquid: what one sheet carries from bath to bath, m3. Of two baths the second holds what
        the earlier sheets carried into it, on average half as rich as the first is now.
        """
        if self.silver is not None:
            return self.silver
        first = self.silver_in_first_bath(sheet)
        return first if self.baths == 1 else 0.5 * first * self.sheets_per_litre / litre * liquid


def parts(dilution: str) -> tuple[float, float]:
    """'1+4' -> (1.0, 4.0); InputError otherwise."""
    try:
        concentrate, water = (float(piece) for piece in dilution.split("+"))
    except ValueError:
        concentrate = water = math.nan
    if not (0 < concentrate <= 1000 and 0 <= water <= 1000):
        raise InputError(f"dilution: expected parts such as '1+4', got {dilution!r}")
    return concentrate, water
