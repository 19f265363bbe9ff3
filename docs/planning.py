"""The page on planning: how it searches, what a chance means, and a plan of the demo evening."""

from __future__ import annotations

from tabular import NOTE, table

from washsim import files, influence, planner, search, tables
from washsim.plans import Plan, Wish
from washsim.units import gram, litre, minute

HEAD = """# Planning an evening

`washsim plan FILE` looks for the least water that gets every print under the target in the time
there is, with the chance asked for. `washsim influence FILE` says which numbers matter for that
evening, and which do not. Both work on what stands at the sink: the sheets, the fixer, the water
and the vessels of the scenario file.

## What is tried

- Every vessel of the file, filled from the least water that covers the sheets up to full. In a
  tray the least is {layer:g} mm of water for each sheet lying in it; where the tap runs into a
  vessel it counts as a washer, used full. `least_l` in the file says better.
- Up to twelve fillings; the tap at its flow, a half, a quarter or an eighth, alone or after one or
  two fillings. A dwell is at least {dwell:g} min, and leaves hands the time to dump and fill.
- Where prints come one by one: a holding bath, renewed or not, kept as the first water or not, a
  rinse in a small tray unless `--no-rinse`, and rows of trays against the water, as long as there
  are trays (`pieces` in the file).
- Where there are batches (`batches` in the file): the last water of a batch, kept as the first of
  the next. Minutes and litres are those of all batches.
- Where prints join late (`[[late]]` in the file, all at one time): running water waits for them; of
  fillings, one, two or four pass before they come, and they join the first one after. A rinse of
  their own stays as the file has it.
- A wash aid only where one is at hand: `--aid`, or a file that uses one.

Hands do one thing at a time: a schedule in which they could not keep up with lifting, laying,
dumping and filling is no plan. Where that left some out and none is left, the answer says so.

Water is never taken above {hot:g} °C, and never at another temperature than the file's. Prints
that stick are not planned with. Still water whose currents follow the fixer (`stirring = "still"`)
and held places that fill up (`explanation = "saturating"`) take several times as long to search;
both at once, or the second with prints that come one by one, take many minutes.

Minutes count from the first print leaving the fixer to the last leaving the water: draining and
the coming of the prints are in, fixing is not.

## How it searches

1. Half of the draws wash one schedule that spends all the time. The draw that has the rank
   of the chance asked for, when that share is first under the target, stands for it.
2. On that draw every shape is tried at every filling and dwell of a grid. Schedules that differ in
   their dwells only are one march.
3. At the quickest and at the thriftiest of what passes, other draws have that rank. Each of them
   replaces the first, on its own: the best shapes are tried again, and fillings are halved towards
   the smaller until they lie two hundredths apart.
4. The best, {points} at most that lie far apart in water, are washed by all draws, which set the
   last dwell to the half minute. What keeps neither chance nor time makes room for the next with
   more water.

So every plan shown has been washed by all draws, but a better one may have been missed. Against
every schedule of up to three fillings with any dwells, on a bench of text-book paper, none was
found that took two hundredths less water in the time ([what was checked](verification.md)).

## What a chance means

Nobody has measured a dozen numbers that a wash rests on: how open the base is, how much fixer it
holds, how the water moves. Each has a band ([numbers](properties.md)). A draw takes one value from
each band; a chance of 90 % means that in 90 of 100 draws the worst print ends under the target. It
is a statement about what is known, not about prints: with a test strip of your own paper the bands
narrow and the chance changes. It leaves out what no draw knows, such as prints that stick.

"""

PLAN = """## The demo evening

Fourteen invented prints ({title}). Asked: {target:g} g/m² in 90 of 100 draws within an hour.

"""

MATTERS = """## What matters for it

One number at a time, at both ends of what it may be; a last bath or running wash goes on where the
target takes longer (with several batches it does not: the next would wait). Minutes, from the first
print leaving the fixer, and litres are those to the target; where it is met at neither end, what
is left when the steps end decides. Whether a number matters goes by the change of the minutes over
those that the last print has to wash: waiting for prints to come hides nothing. *Agitation* and
*density* turn every vessel of the steps, *volume* the last. A shorter fixing is judged by the wash
alone, not by whether the print is fixed.

"""

SHARES = """All that is unmeasured at once: the share of each number in the doubt about what is left
at the end, alone and in company with the others (first-order and total Sobol' indices of the
logarithm; {base} points: on five of the examples, with four sets of points each, no index was
further than 0.14 from that of 1024 points, nearly all were within 0.1).

"""

SWEEPS = """## Large sweeps

`washsim.sweep` washes every combination of some values (papers, waters, schedules) with many draws
each and keeps the table as Parquet, in parts. A sweep that was stopped goes on where it was. It
wants the extra `washsim[sweep]`; a cluster is a dask scheduler's address or a number of workers,
and without one everything is computed here, to the same table. What the printer would call one
thing, such as a whole schedule, takes a name in the table.

```python
from washsim import files, recipes, sweep
from washsim.units import minute

evening = sweep.Sweep(
    base=files.example("demo"),
    axes={"water.kind": ("soft_tap", "hard_tap"), "steps.1.baths": (4, 6, 8)},
)
folder = sweep.run(evening, "my_sweep")
print(sweep.table(folder).num_rows)  # 6 combinations of 256 draws

schedules = {
    "six changes": evening.base.steps,
    "four, twice as long": (recipes.Bath(vessel="tray", baths=4, duration=20 * minute),),
}
evening = sweep.Sweep(base=evening.base, axes={"steps": schedules, "sheet.count": (7, 14)})
```

Values are SI, at paths as `Scenario.but` takes them. Where the program's numbers have changed since
a sweep was begun, begin it in another folder.
"""


def planning_page() -> str:
    """Words, and runs of the demo evening."""

    def limit(key: str) -> float:
        return tables.datum(f"limits.{key}").value

    page = NOTE + HEAD.format(
        layer=limit("planning.water_layer"),
        dwell=limit("planning.least_dwell"),
        hot=limit("caution.temperature_high"),
        points=search.POINTS,
    )
    scenario = files.example("demo")
    front = planner.plan(scenario, Wish(seconds=60 * minute))
    page += PLAN.format(title=scenario.title, target=scenario.target.limit / gram)
    rows = [_row("the file's own steps", front.own)]
    rows += [_row(str(i), one) for i, one in enumerate(front.plans, start=1)]
    page += table(("plan", "minutes", "water, L", "chance", "steps"), rows)
    found = influence.influence(scenario)
    page += MATTERS
    for one in found.effects:
        page += f"- {influence.sentence(one, found.nominal)}\n"
    page += "\n" + SHARES.format(base=influence.BASE)
    shares = [
        [label, f"{100 * alone:.0f} %", f"{100 * total:.0f} %"]
        for label, alone, total in found.shares
        if total >= 0.05
    ]
    return page + table(("unknown", "alone", "in company"), shares) + SWEEPS


def _row(name: str, one: Plan) -> list[str]:
    return [
        name,
        f"{one.seconds / minute:.0f}",
        f"{one.volume / litre:.1f}",
        f"{100 * one.chance:.0f} %",
        one.words(),
    ]
