"""What came of a scenario: arrays, and the quantities asked of them. SI; fixer in kg.

A sheet is named by its number from 1. T is the number of output times, L of layers.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from washsim.engine.segment import AIR, Segment
from washsim.engine.space import Array
from washsim.run import Drained, Run
from washsim.scenario import Scenario
from washsim.timeline import Flow


@dataclass(frozen=True)
class Result:
    """A run, how far it may be off, and what it means."""

    scenario: Scenario
    run: Run
    numerical_error: float
    """Largest change of a residual in the wash on refining once, relative to it plus 1 mg/m2."""

    # the sheets

    @property
    def times(self) -> Array:
        """(T,) s since the first sheet entered the fixer."""
        return self.run.times

    @property
    def residual(self) -> Array:
        """(lots, T) kg/m2 of each lot."""
        return self.run.residual

    def at(self, lot: int, times: Array) -> Array:
        """(T,) kg/m2 of one lot at any times (T,)."""
        return self.run.see(lot, times, self.run.slab.capacity)[:, 0]

    @cached_property
    def lot_of_sheet(self) -> tuple[int, ...]:
        """For sheets 1, 2, ... the lot each belongs to."""
        return tuple(i for i, lot in enumerate(self.run.timeline.lots) for _ in range(lot.count))

    @cached_property
    def final_residual(self) -> tuple[float, ...]:
        """kg/m2 of each sheet when the evening ends."""
        return tuple(float(self.residual[lot, -1]) for lot in self.lot_of_sheet)

    @property
    def worst_residual(self) -> float:
        """kg/m2."""
        return max(self.final_residual)

    @property
    def worst_sheet(self) -> int:
        """Number of the sheet that ends with most fixer; the first of several."""
        return 1 + int(np.argmax(self.final_residual))

    @property
    def worst_lot(self) -> int:
        return self.lot_of_sheet[self.worst_sheet - 1]

    @property
    def typical_residual(self) -> float:
        """kg/m2, the median sheet."""
        return float(np.median(self.final_residual))

    @cached_property
    def load(self) -> tuple[float, ...]:
        """kg/m2 inside each lot's sheets as they leave the fixer."""
        return tuple(
            float(self.at(i, np.array([at]))[0]) for i, at in enumerate(self.run.left_fixer)
        )

    def profile(self, lot: int, times: Array, positions: Array) -> tuple[Array, Array]:
        """Pore-liquid concentration kg/m3 and held fixer per layer volume kg/m3, (T, P) each.

        positions (P,) count in layers: 0.5 is the middle of the first.
        """
        slab, n = self.run.slab, self.run.slab.space.size
        sample = slab.space.sample(positions)
        seen = self.run.see(lot, times, np.eye(slab.size))
        mobile, held = seen[:, :n], np.zeros((len(times), n))
        held[:, slab.where] = seen[:, n:]
        layers = np.clip(positions.astype(int), 0, len(self.run.paper.layers) - 1)
        retention = np.array([self.run.paper.layers[j].retention for j in layers])
        # between nodes a polynomial may dip a hair below zero where the nodes do not
        return np.maximum(mobile @ sample.T, 0.0), np.maximum(held @ sample.T, 0.0) * retention

    def by_layer(self, lot: int, times: Array) -> tuple[Array, Array]:
        """kg/m2 in each layer, mobile and held, (T, L) each."""
        slab, n = self.run.slab, self.run.slab.space.size
        weights = slab.space.weights
        count = len(weights)
        rows = np.zeros((2 * count, slab.size))
        rows[:count, :n] = weights * slab.shares[0, 0][:, None]
        rows[count:, n:] = (weights * slab.shares[0, 1][:, None])[:, slab.where]
        seen = self.run.see(lot, times, rows)
        return seen[:, :count], seen[:, count:]

    def by_half(self, lot: int, times: Array) -> Array:
        """(T, 2) kg/m2 in the half of the thickness nearer the front, and nearer the back."""
        layers = self.run.paper.layers
        middle, depth = self.run.paper.thickness / 2, 0.0
        for j, layer in enumerate(layers):
            if depth + layer.thickness >= middle:
                cut = j + (middle - depth) / layer.thickness
                break
            depth += layer.thickness
        halves = []
        for start, stop in ((0.0, cut), (cut, float(len(layers)))):
            halves.append(self.run.slab.under(self.run.slab.space.window(start, stop))[0])
        return self.run.see(lot, times, np.array(halves))

    # the target

    @cached_property
    def seconds_to_target(self) -> tuple[float | None, ...]:
        """For each lot, s from leaving the fixer until it is under the target for good."""
        limit = self.scenario.target.limit
        return tuple(
            None if crossed is None else max(0.0, crossed - self.run.left_fixer[lot])
            for lot, crossed in ((i, self._crossing(i, limit)) for i in range(len(self.residual)))
        )

    @property
    def minutes_to_target(self) -> float | None:
        """The longest any sheet had to wash to be under the target for good; None if one is not."""
        times = [t for t in self.seconds_to_target if t is not None]
        return max(times) / 60 if len(times) == len(self.seconds_to_target) else None

    @property
    def minutes_until_all(self) -> float | None:
        """From the first sheet leaving the fixer until every sheet, also the last to come, is under
        the target for good; None if one is not."""
        if self.minutes_to_target is None:
            return None
        left = self.run.left_fixer
        under = [a + b for a, b in zip(left, self.seconds_to_target, strict=True) if b is not None]
        return (max(under) - min(left)) / 60

    def _crossing(self, lot: int, limit: float) -> float | None:
        """Last time a lot's residual falls to the limit, by bisection on the exact solution."""
        over = np.flatnonzero(self.residual[lot] > limit)
        if self.residual[lot, -1] > limit:
            return None
        if not len(over):
            return self.run.left_fixer[lot]
        low, high = self.times[over[-1]], self.times[over[-1] + 1]
        for _ in range(6):
            grid = np.linspace(low, high, 12)
            seen = self.at(lot, grid)
            last = int(np.flatnonzero(seen > limit)[-1]) if np.any(seen > limit) else 0
            low, high = grid[last], grid[min(last + 1, 11)]
        return float(0.5 * (low + high))

    def floor(self, lot: int, time: float) -> float:
        """kg/m2 the lot would end at if it stayed in this water as it is, for ever."""
        segment = self.run.segment_at(lot, time)
        # the same all through a segment, and for every lot in it; curves ask for it often
        if id(segment) not in self._floors:
            self._floors[id(segment)] = self._floor(segment)
        return self._floors[id(segment)]

    @cached_property
    def _floors(self) -> dict[int, float]:
        return {}

    def _floor(self, segment: Segment) -> float:
        if segment.tank == AIR or segment.water is None or segment.volumes is None:
            return float(self._at_rest(segment.base)[0])
        if segment.inflow is not None and segment.inflow[0] > 0:
            return float(self._at_rest(segment.base)[0])
        seconds = np.zeros((1, 1))
        lots = self.run.timeline.lots
        areas = {i: lots[i].count * self.scenario.sheet.area for i in segment.parts}
        amount = float(segment.solute_at(seconds)[0, 0]) + sum(
            area * float(segment.slab_at(i, seconds, self.run.slab.capacity[None])[0, 0, 0])
            for i, area in areas.items()
        )
        water, paper = float(segment.volumes.sum()), sum(areas.values())
        if self.run.slab.bend is None:
            whole = float(self._at_rest(np.array(1.0)))
            return whole * amount / (water + whole * paper)
        # what the water keeps falls as the sheets keep more: one root between nothing and all
        low, high = 0.0, amount / water
        for _ in range(60):
            middle = 0.5 * (low + high)
            over = middle * water + self._at_rest(np.array(middle)) * paper > amount
            low, high = (low, middle) if over else (middle, high)
        return float(self._at_rest(np.array(high)))

    def _at_rest(self, concentration: Array) -> Array:
        """(...) kg/m2 in a sheet whose pores have this concentration (...) all through, kg/m3."""
        slab = self.run.slab
        held = slab.held[0]
        if slab.bend is not None:
            held = held / (1 + slab.bend[0] * concentration[..., None])
        return concentration * (slab.mobile[0].sum() + held.sum(axis=-1))

    def half_lives(self, lot: int, time: float) -> tuple[float, ...]:
        """Up to four slowest different half-lives, s, of what goes on around a lot at a time."""
        segment = self.run.segment_at(lot, time)
        rates = np.sort(segment.rates_at(lot, time - segment.start)[0])
        rates = rates[rates > 1e-12]
        # a held pool adds a crowd of modes at its own release rate: one of them is enough
        apart = rates[np.concatenate([[True], rates[1:] > 1.02 * rates[:-1]])]
        return tuple(float(np.log(2) / rate) for rate in apart[:4])

    def open_faces(self, lot: int, time: float) -> tuple[float, float]:
        """(front, back), 1 where liquid reaches the face at a time, s; in the air none does."""
        return self.run.segment_at(lot, time).faces[lot]

    def shares(self, lot: int, time: float) -> dict[str, float]:
        """Who holds the washing up: shares of 'bath', 'film', 'inside' and 'release', sum 1.

        Held fixer beyond what the pores would keep held is waiting for release. The mobile rest
        meets resistances in series - inside the paper, the surface film, the bath - and each
        drop of concentration on the way to the fresh water is its resistance's share.
        """
        return self.shares_over(lot, np.array([time]))[0]

    def shares_over(self, lot: int, times: Array) -> list[dict[str, float]]:
        """The shares at each of the times (T,) s; the sheet is looked at once for all."""
        slab, n = self.run.slab, self.run.slab.space.size
        rows = np.zeros((4, slab.size))
        rows[0, :n], rows[1, n:] = slab.mobile[0], slab.held[0]
        rows[2, 0] = rows[3, n - 1] = 1.0
        mobile, held, front, back = self.run.see(lot, times, rows).T
        water, open_front, open_back = self._outside(lot, times)
        pores = mobile / slab.mobile[0].sum()
        opened = np.maximum(open_front + open_back, 1e-30)
        face = (open_front * front + open_back * back) / opened
        waiting = np.maximum(0.0, held - (self._at_rest(pores) - mobile))
        release = waiting / np.maximum(waiting + mobile, 1e-30)
        drops = [pores - face, face - water, water - self.scenario.water.thiosulfate]
        series = np.maximum(0.0, drops)
        total = series.sum(axis=0)
        series = (1 - release) * series / np.where(total > 0, total, 1.0)
        names = ("inside", "film", "bath", "release")
        return [
            dict(zip(names, row, strict=True)) for row in np.vstack([series, release]).T.tolist()
        ]

    def _outside(self, lot: int, times: Array) -> tuple[Array, Array, Array]:
        """(T,) each: kg/m3 in the water a lot is in, and whether its front and back are open."""
        segments = self.run.of_lot[lot]
        found = np.zeros((3, len(times)))
        numbers = np.searchsorted([float(one.stop[0]) for one in segments], times)
        numbers = np.minimum(numbers, len(segments) - 1)
        for number in np.unique(numbers):
            segment, here = segments[number], numbers == number
            longest = segment.stop[0] - segment.start[0]
            seconds = np.clip(times[here] - segment.start[0], 0.0, longest)[None]
            found[0, here] = segment.water_at(seconds)[0, :, 0]
            found[1:, here] = np.array(segment.faces[lot])[:, None]
        return found[0], found[1], found[2]

    # the water

    def water(self, basin: int) -> Array:
        """(T,) kg/m3 in a basin's moving water; NaN while nothing happens in it."""
        seen = np.full(len(self.times), np.nan)
        for segment in self.run.segments:
            if segment.tank == basin:
                inside = (self.times >= segment.start[0]) & (self.times <= segment.stop[0])
                seconds = (self.times[inside] - segment.start[0])[None]
                seen[inside] = segment.water_at(seconds)[0, :, 0]
        return seen

    def water_around(self, lot: int, times: Array) -> Array:
        """(T,) kg/m3 of the liquid a lot lies in; in the air, of the liquid it came from."""
        seen = np.zeros(len(times))
        known = 0.0
        for segment in self.run.of_lot[lot]:
            inside = (times >= segment.start[0]) & (times <= segment.stop[0])
            if segment.tank == AIR:
                seen[inside] = known
                continue
            seconds = (times[inside] - segment.start[0])[None]
            seen[inside] = segment.water_at(seconds)[0, :, 0]
            known = float(segment.water_at((segment.stop - segment.start)[None])[0, 0, 0])
        seen[times > self.run.of_lot[lot][-1].stop[0]] = known
        return seen

    @cached_property
    def litres_by_step(self) -> tuple[float, ...]:
        """m3 of fresh water that each step takes."""
        steps = range(1, len(self.scenario.steps) + 1)
        return tuple(self.run.timeline.volume(step) for step in steps)

    @property
    def litres_total(self) -> float:
        """m3 of fresh water in all."""
        return sum(self.litres_by_step)

    @property
    def sheets(self) -> int:
        return len(self.lot_of_sheet)

    @property
    def paper_area(self) -> float:
        """One side of all sheets of all batches, m2."""
        return self.sheets * self.scenario.sheet.area

    def water_to_paper(self, step: int) -> float:
        """m3 in the vessel per m2 of paper (one side) in a step; running water not counted."""
        stage = next(s for s in self.run.timeline.stages if s.step == step)
        slots = getattr(self.scenario.steps[step - 1], "slots", 1)
        vessel = self.run.timeline.basins[stage.basins[0]].vessel
        assert vessel is not None
        return slots * vessel.volume / self.scenario.paper_area

    @cached_property
    def drains(self) -> tuple[Drained, ...]:
        """Everything that went or will go to the drain, in order: flow, dumps, leftovers."""
        run = self.run
        found = list(run.drained)
        flows = {(e.vessel, e.at): e for e in run.timeline.events if isinstance(e, Flow)}
        for segment in run.segments:
            amount = float(segment.drained()[0])
            if segment.inflow is not None and segment.inflow[0] > 0 and not segment.onward:
                begun = max(k for k in flows if k[0] == segment.tank and k[1] <= segment.start[0])
                volume = flows[begun].rate * float(segment.stop[0] - segment.start[0])
                found.append(Drained(float(segment.stop[0]), flows[begun].step, volume, amount))
        for basin, tank in enumerate(run.state.tanks):
            if tank.conditions is not None and not tank.conditions.boundless:
                volume = float((tank.volume + tank.dead_volume)[0])
                left = float(tank.solute()[0])
                found.append(Drained(run.timeline.end, run.steps[basin], volume, left))
        return tuple(sorted(found, key=lambda one: one.at))

    @property
    def silver_per_fixer(self) -> float:
        """kg of dissolved silver carried along with each kg of thiosulfate ion."""
        return self.scenario.fixer_silver / self.scenario.fixing.concentration

    def silver_to_drain(self, step: int | None = None) -> float:
        """kg of silver in the water of one step, or of all; it moves as thiosulfate does."""
        amounts = (one.amount for one in self.drains if step in (None, one.step))
        return self.silver_per_fixer * sum(amounts)

    @property
    def first_water(self) -> Drained | None:
        """The first water to leave after the sheets met it; None if they met none."""
        return next((one for one in self.drains if one.amount > 0), None)

    @property
    def first_silver(self) -> float:
        """kg/m3 of silver in that water."""
        water = self.first_water
        return self.silver_per_fixer * water.amount / water.volume if water else 0.0

    @property
    def cost(self) -> float:
        """Price of the fresh water and of warming it, in the money of the scenario's prices."""
        water = self.scenario.water
        return self.litres_total * water.price + self.heat * water.heat_price

    @property
    def heat(self) -> float:
        """J to warm the fresh water of all steps from the tap's temperature to their own."""
        water, total = self.scenario.water, 0.0
        warmth = self.scenario.temperatures
        for (start, end), volume in zip(warmth, self.litres_by_step, strict=True):
            total += water.heating(volume, 0.5 * (start + end))
        return total

    # the balance

    @cached_property
    def balance(self) -> float:
        """Fixer unaccounted for, relative to what was taken in: paper, vessels and drain."""
        state = self.run.state
        gone = state.content() + state.tally.drained - state.tally.taken
        return float(np.max(np.abs(gone / state.tally.taken)))

    def whereabouts(self, times: Array) -> dict[str, Array]:
        """(T,) kg of fixer in each layer's liquid, held, in the wash water, gone to the drain."""
        layers = self.run.paper.layers
        found = {layer.name: np.zeros(len(times)) for layer in layers}
        found |= {name: np.zeros(len(times)) for name in ("held", "water", "drain")}
        for i, lot in enumerate(self.run.timeline.lots):
            area = lot.count * self.scenario.sheet.area
            mobile, held = self.by_layer(i, times)
            for j, layer in enumerate(layers):
                found[layer.name] += area * mobile[:, j]
            found["held"] += area * held.sum(axis=1)
        for segment in self.run.segments:
            if segment.volumes is None:
                continue
            during = (times >= segment.start[0]) & (times < segment.stop[0])
            seconds = (times[during] - segment.start[0])[None]
            found["water"][during] += segment.solute_at(seconds)[0]
            found["drain"][during] += segment.drained_by(seconds)[0]
            whole = float(segment.drained()[0])
            found["drain"][times >= segment.stop[0]] += whole
        for one in self.run.drained:
            found["drain"][times >= one.at] += one.amount
        return found
