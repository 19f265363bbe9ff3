"""Clock times and moves in the words that stand on the wall and on the screen."""

from __future__ import annotations

from dataclasses import dataclass

from washsim.errors import InputError
from washsim.fields import short
from washsim.moves import Move
from washsim.units import UNITS, in_system, rounded

DAY = 86400.0
CLOCKS = (12, 24)


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """How an evening is told: start, s after midnight, is when the first sheet enters the fixer;
    hours of the clock's face; system of units."""

    start: float
    hours: int = 24
    units: str = "metric"

    def at(self, seconds: float, exact: bool = False) -> str:
        """Time of day, to the minute unless exact; '+1' marks the next day."""
        step = 1 if exact else 60
        total = int((self.start + seconds) / step + 0.5) * step
        days, rest = divmod(total, int(DAY))
        hour, minute, second = rest // 3600, rest // 60 % 60, rest % 60
        shown = f"{minute:02d}" + (f":{second:02d}" if exact and second else "")
        if self.hours == 24:
            text = f"{hour:02d}:{shown}"
        else:
            text = f"{(hour - 1) % 12 + 1}:{shown} {'am' if hour < 12 else 'pm'}"
        return f"{text} +{days}" if days else text


def start_of(text: str) -> float:
    """s after midnight of '19:30', '7:30 pm' or '7 pm'; InputError says what is allowed."""
    words = text.strip().lower().replace(".", "")
    noon = next((mark for mark in ("am", "pm") if words.endswith(mark)), "")
    pieces = words.removesuffix(noon).strip().split(":")
    if noon and len(pieces) == 1:
        pieces.append("00")
    if len(pieces) == 2 and all(p.isascii() and p.isdigit() and len(p) <= 2 for p in pieces):
        hour, minute = int(pieces[0]), int(pieces[1])
        if minute < 60 and (1 <= hour <= 12 if noon else hour < 24):
            if noon:
                hour = hour % 12 + (12 if noon == "pm" else 0)
            return 3600.0 * hour + 60.0 * minute
    raise InputError(f"start: expected a time such as '19:30' or '7:30 pm', got {short(text)}")


def say(
    move: Move,
    letters: tuple[str, ...],
    guests: frozenset[int] = frozenset(),
    units: str = "metric",
) -> str:
    """A move as a short imperative sentence."""
    who = names(move.sheets, guests)
    source = "" if move.source is None else letters[move.source]
    target = "" if move.target is None else letters[move.target]
    match move.kind:
        case "in":
            return f"{who[0].upper()}{who[1:]} into fixer {target}"
        case "carry":
            drained = f", drain {duration(move.drain)}" if move.drain else ""
            place = f"back into {target}" if source == target else f"into {target}"
            place += ", its water kept" if move.kept else ""
            return f"Lift {who} from {source}{drained}, {place}"
        case "out":
            return f"Lift {who} from {source}: done, to dry"
        case "open":
            return f"Open the tap on {target}: {amount(move.flow, 'l_min', units)}"
        case "close":
            return f"Close the tap on {target}"
    stay = ", sheets stay in" if move.occupied else ""
    stay = ", while they hang" if move.meanwhile else stay
    return f"Dump {target}, refill {poured(move, units)}{stay}"


def poured(move: Move, units: str = "metric") -> str:
    """'4 L', '2 L of 2 % sulfite', '4 L at 25 °C': what goes into a vessel."""
    of = f" of {move.liquid}" if move.liquid else ""
    warm = "" if move.temperature is None else f" at {amount(move.temperature, 'c', units)}"
    return f"{amount(move.volume, 'l', units)}{of}{warm}"


def amount(value: float, suffix: str, units: str = "metric") -> str:
    """An SI value in the unit of that suffix, or the one people of a system use instead."""
    unit = in_system(UNITS[suffix], units)
    return f"{rounded(unit.from_si(value))} {unit.label}"


def names(sheets: tuple[int, ...], guests: frozenset[int] = frozenset()) -> str:
    """'sheet 3', 'sheets 1–14', 'late sheet 8': runs of numbers are drawn together."""
    runs: list[list[int]] = []
    for number in sheets:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    shown = ", ".join(f"{a}" if a == b else f"{a}–{b}" for a, b in runs)
    late = "late " if sheets and guests.issuperset(sheets) else ""
    return f"{late}{'sheet' if len(sheets) == 1 else 'sheets'} {shown}"


def duration(seconds: float) -> str:
    """A time as it is said at the sink: seconds up to two minutes, then minutes."""
    return f"{seconds:.3g} s" if seconds < 120 else f"{seconds / 60:.3g} min"
