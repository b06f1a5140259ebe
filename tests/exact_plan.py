"""The plan of a season by a second road: the same problem as a mixed-integer programme, solved to the end by HiGHS.

    exact_plan.py PROGRAM [--seed N] [--cases N] [--keep DIR]

Small cases are invented from the seed, and those of tests/data/plan (and of ../shared, where that exists) added. For
each one:

1. `PROGRAM plan` must find the worth that scipy's `milp` proves to be the best, to the cent, with a bound not below it.
2. Its plan, the plan of the programme, and a plan with a job moved at random are weighed by `PROGRAM plan --score` and
   by this file, written apart: worth and number of violations must agree.

One binary variable stands for each pair of a laying and a lifting, one row for each slot of people, machines and each
family of covers. Prints what was compared; exit 1 if something differs.
"""

import argparse
import json
import random
import subprocess
import sys
import tempfile
from fractions import Fraction
from math import floor
from pathlib import Path

import numpy
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix

ROOT = Path(__file__).resolve().parent.parent
SLOTS = 120
CURVE = [(0, 0), (7000, 150), (14000, 400), (21000, 640), (28000, 820), (35000, 930), (42000, 980), (56000, 1000)]


# --- cases ----------------------------------------------------------------------------------------------------


def invent(chance, lots):
    """A crew, its covers and some lots; costs are drawn, not reckoned, so that any shape of them may come up."""
    rest = [slot for slot in range(SLOTS) if slot // 2 % 7 == 6]
    people, machines = chance.choice([(2, 1), (4, 1), (4, 2)])
    families = ["a", "b"][: chance.choice([1, 1, 2])]
    site = {
        "id": "site",
        "p_lay": [chance.randint(0, 1000) if chance.random() < 0.3 else chance.randint(500, 900) for _ in range(SLOTS)],
        "p_lift": [chance.randint(150, 700) for _ in range(SLOTS)],
        "light_md": [chance.randint(300, 700) for _ in range(SLOTS)],
        "hold_cents_per_km": [chance.randint(0, 50) for _ in range(SLOTS)],
        "members_lay": [],
        "members_lift": [],
    }
    groups = [invent_lot(chance, number, families, rest) for number in range(lots)]
    stock = {}
    for family in families:
        metres = [group["metres"] for group in groups if group["family"] == family]
        out = sum(group["metres"] for group in groups if group["family"] == family and group["already_out"])
        stock[family] = max([out, *metres, sum(metres) * chance.randint(35, 70) // 100])
    pool = {
        "id": "crew",
        "name": "crew",
        "site": "site",
        "people": people,
        "machines": machines,
        "people_cap_s": [0 if slot in rest else people * 18000 for slot in range(SLOTS)],
        "machine_cap_s": [0 if slot in rest else machines * 18000 for slot in range(SLOTS)],
        "stock_m": stock,
    }
    return {
        "schema": "plan-case/1",
        "name": "invented",
        "scale": "small",
        "seed": 0,
        "slots": SLOTS,
        "slot_seconds": 18000,
        "slots_per_day": 2,
        "forecast_slots": 30,
        "lag_roll": chance.choice([0, 2, 5]),
        "lag_fold": chance.choice([3, 28]),
        "curve": CURVE,
        "blocks": lots,
        "rows": 10 * lots,
        "sites": [site],
        "pools": [pool],
        "groups": groups,
    }


def invent_lot(chance, number, families, rest):
    metres = chance.randint(500, 1500)
    ties = metres * 2 // 5
    pick = chance.randint(55, SLOTS - 4)
    out = chance.random() < 0.2
    least = chance.choice([20, 30, 42])

    def options(first, last, share, low, high):
        slots = [slot for slot in range(max(first, 0), last) if slot not in rest and chance.random() < share]
        return [[slot, chance.randint(low, high)] for slot in slots]

    rolls = [[slot, 0, cost] for slot, cost in options(pick - 20, pick, 0.5, 9000, 16000)]
    folds = [[slot, 1, chance.randint(12000, 22000)] for slot in (pick - 1, pick)]
    return {
        "id": f"lot {number}",
        "block": f"block {number}",
        "variety": "",
        "pool": 0,
        "site": 0,
        "family": chance.choice(families),
        "metres": metres,
        "pieces": metres // 80 + 1,
        "ties": ties,
        "hilly": False,
        "value_cents": metres * chance.randint(20, 90),
        "pick_slot": pick,
        "min_exposure_slots": least,
        "check_s": ties // 10 * chance.choice([1, 40]),
        "work": {
            "lay_machine": {"people_s": metres * 72 // 7 + ties * 15, "machine_s": metres * 36 // 7},
            "lay_hand": {"people_s": metres * 48 + ties * 15, "machine_s": 0},
            "lift_machine": {"people_s": metres * 9 + ties * 8, "machine_s": metres * 9 // 2},
            "fold": {"people_s": ties * 4 + metres * 6 // 5, "machine_s": 0},
        },
        "lay_machine": [] if out else options(pick - 98, pick - least, 0.4, 7000, 14000),
        "lay_hand": [] if out else options(pick - 98, pick - least, 0.1, 12000, 30000),
        "lift": rolls + [fold for fold in folds if fold[0] not in rest],
        "already_out": {"slots_before": chance.randint(5, 40), "light_before_md": chance.randint(2000, 20000)} if out else None,
        "drop_cents": 0 if out else chance.choice([0, 2000]),
        "stranded_cents": chance.randint(20000, 60000) if out else 0,
        "previous": None,
    }


# --- the problem, written apart -------------------------------------------------------------------------------


def colour(value, light):
    """Worth of the light, exactly, cut to cents once."""
    points = [(Fraction(x), Fraction(y, 1000)) for x, y in CURVE]
    share = points[-1][1]
    for (x0, y0), (x1, y1) in zip(points, points[1:]):
        if light <= x1:
            share = y0 + (y1 - y0) * (max(light, x0) - x0) / (x1 - x0)
            break
    return floor(value * share)


def booked(seconds, chance):
    return -(-1000 * seconds // chance)


class Lot:
    """A lot with its ways: what each earns, and what it uses of each row."""

    def __init__(self, case, group):
        self.case, self.group = case, group
        self.pool, self.site = case["pools"][group["pool"]], case["sites"][group["site"]]
        self.out = group["already_out"]

    def ways(self):
        """Every entry that is offered and long enough."""
        group = self.group
        starts = [(None, None, 0)] if self.out else [
            (slot, mode, cost) for mode in ("lay_machine", "lay_hand") for slot, cost in group[mode]
        ]
        for lay, mode, _ in starts:
            for lift, kind, _ in group["lift"]:
                entry = {"lay": lay, "mode": mode, "lift": lift, "kind": kind}
                if self.chances_known(entry) and self.slots_out(entry) >= group["min_exposure_slots"]:
                    yield entry

    def chances_known(self, entry):
        lay = entry["lay"] is None or self.site["p_lay"][entry["lay"]] > 0
        return lay and (entry["kind"] == 1 or self.site["p_lift"][entry["lift"]] > 0)

    def slots_out(self, entry):
        return entry["lift"] + self.out["slots_before"] if self.out else entry["lift"] - entry["lay"]

    def cost(self, entry):
        """Cost of the two jobs, or None if one is not offered."""
        lift = [cost for slot, kind, cost in self.group["lift"] if (slot, kind) == (entry["lift"], entry["kind"])]
        if self.out:
            return lift[0] if lift and entry["lay"] is None else None
        lay = [cost for slot, cost in self.group[entry["mode"]] if slot == entry["lay"]]
        return lay[0] + lift[0] if lay and lift and self.chances_known(entry) else None

    def earns(self, entry):
        if entry is None:
            return -self.group["stranded_cents" if self.out else "drop_cents"]
        first = 0 if self.out else entry["lay"] + 1
        light = sum(self.site["light_md"][first : entry["lift"]]) + (self.out["light_before_md"] if self.out else 0)
        return colour(self.group["value_cents"], light) - self.cost(entry)

    def uses(self, entry):
        """Row (what, slot) and amount of everything an entry asks for."""
        group, slots = self.group, self.case["slots"]
        if entry is None:
            if not self.out:
                return
            first, last, free = 0, slots, slots
        else:
            first = 0 if self.out else entry["lay"] + 1
            last = entry["lift"]
            free = min(slots, last + self.case["lag_fold" if entry["kind"] else "lag_roll"])
            jobs = [(last, "fold" if entry["kind"] else "lift_machine", 1000 if entry["kind"] else self.site["p_lift"][last])]
            if not self.out:
                jobs.append((entry["lay"], entry["mode"], self.site["p_lay"][entry["lay"]]))
            for slot, work, chance in jobs:
                yield ("people", slot), booked(group["work"][work]["people_s"], chance)
                yield ("machine", slot), booked(group["work"][work]["machine_s"], chance)
        for slot in range(first, last):
            if self.pool["people_cap_s"][slot] > 0:
                yield ("people", slot), group["check_s"]
        lay = first if self.out or entry is None else entry["lay"]
        for slot in range(lay, free):
            yield (group["family"], slot), group["metres"]


def capacity(pool, row):
    what, slot = row
    if what in ("people", "machine"):
        return pool[f"{what}_cap_s"][slot]
    return pool["stock_m"][what]


def weigh(case, plan):
    """Worth of a plan, and how many things it asks for that are not there."""
    worth, violations = 0, 0
    used = {}
    for group in case["groups"]:
        lot, entry = Lot(case, group), plan[group["id"]]
        if entry is not None and lot.cost(entry) is None:
            violations += 1
            entry = None
        if entry is not None and lot.slots_out(entry) < group["min_exposure_slots"]:
            violations += 1
        worth += lot.earns(entry)
        for row, amount in lot.uses(entry):
            used[group["pool"], row] = used.get((group["pool"], row), 0) + amount
    for (pool, row), amount in used.items():
        violations += amount > capacity(case["pools"][pool], row)
    return worth, violations


def best_plan(case):
    """The best plan there is, by HiGHS; pools share nothing and are solved one by one."""
    plan = {}
    for pool in range(len(case["pools"])):
        lots = [Lot(case, group) for group in case["groups"] if group["pool"] == pool]
        ways = [(number, entry) for number, lot in enumerate(lots) for entry in [None, *lot.ways()]]
        rows, amounts, ups, columns = {}, [], [], []
        for column, (number, entry) in enumerate(ways):
            use = {}
            for row, amount in lots[number].uses(entry):
                use[row] = use.get(row, 0) + amount
            for row, amount in use.items():
                ups.append(rows.setdefault(row, len(rows)))
                columns.append(column)
                amounts.append(amount)
        limit = [capacity(case["pools"][pool], row) for row in rows]
        used = csr_matrix((amounts, (ups, columns)), shape=(len(rows), len(ways)))
        scale = 1 / numpy.maximum(numpy.array(limit, dtype=float), 1.0)
        used = csr_matrix(used.multiply(scale[:, None]))
        once = csr_matrix((numpy.ones(len(ways)), ([number for number, _ in ways], range(len(ways)))))
        answer = milp(
            [-lots[number].earns(entry) for number, entry in ways],
            integrality=numpy.ones(len(ways)),
            bounds=Bounds(0, 1),
            constraints=[
                LinearConstraint(used, -numpy.inf, numpy.array(limit, dtype=float) * scale),
                LinearConstraint(once, 1, 1),
            ],
            options={"mip_rel_gap": 0, "time_limit": 300},
        )
        if answer.status != 0:
            sys.exit(f"{case['name']}: HiGHS did not finish: {answer.message}")
        for chosen, (number, entry) in zip(answer.x, ways):
            if chosen > 0.5:
                plan[lots[number].group["id"]] = entry
    return plan


# --- the program ----------------------------------------------------------------------------------------------


def run(program, folder, case, plan=None):
    (folder / "case.json").write_text(json.dumps(case))
    arguments = [program, "plan", "--case", str(folder / "case.json")]
    if plan is not None:
        (folder / "plan.json").write_text(json.dumps(plan))
        arguments += ["--score", str(folder / "plan.json")]
    done = subprocess.run(arguments, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        sys.exit(f"{case['name']}: {' '.join(arguments)} failed: {done.stderr}")
    return json.loads(done.stdout)


def moved(chance, case, plan):
    """The plan with one job of one lot in another slot that is offered for it; covers may then collide."""
    plan = dict(plan)
    covered = [group for group in case["groups"] if plan[group["id"]]]
    if covered:
        group = chance.choice(covered)
        slot, kind, _ = chance.choice(group["lift"])
        plan[group["id"]] = {**plan[group["id"]], "lift": slot, "kind": kind}
    return plan


def everything(chance, case):
    """Every lot covered, somehow: full of collisions."""
    plan = {}
    for group in case["groups"]:
        ways = list(Lot(case, group).ways())
        plan[group["id"]] = chance.choice(ways) if ways else None
    return plan


def compare(program, folder, chance, name, case):
    faults = []
    ours = run(program, folder, case)
    exact = best_plan(case)
    best, wrong = weigh(case, exact)
    if wrong:
        faults.append(f"{name}: the programme's own plan has {wrong} violations")
    if ours["objective_cents"] != best:
        faults.append(f"{name}: the plan is worth {ours['objective_cents']}, the best one {best}")
    if ours["bound_cents"] < best:
        faults.append(f"{name}: the bound is {ours['bound_cents']}, but {best} was reached")
    for what, plan in [
        ("its plan", ours["plan"]),
        ("the best plan", exact),
        ("a moved plan", moved(chance, case, exact)),
        ("everything", everything(chance, case)),
    ]:
        said = run(program, folder, case, plan)
        here = weigh(case, plan)
        if (said["objective_cents"], len(said["violations"])) != here:
            faults.append(f"{name}, {what}: {said['objective_cents']} {said['violations']}, here {here}")
    return faults


def stored():
    """Small cases from files."""
    folders = [ROOT / "tests/data/plan", ROOT.parent / "shared/reference/plan_cases"]
    for folder in folders:
        if not folder.is_dir():
            print(f"skipped: {folder} is not there")
        for file in sorted(folder.glob("*.json")):
            case = json.loads(file.read_text())
            if case.get("scale") == "small":
                yield file.stem, case


def main():
    parser = argparse.ArgumentParser(description="compares the season's plan with an exact solver")
    parser.add_argument("program")
    parser.add_argument("--seed", type=int, default=20260401)
    parser.add_argument("--cases", type=int, default=40)
    parser.add_argument("--keep", type=Path, help="write the invented cases here as well")
    arguments = parser.parse_args()
    chance = random.Random(arguments.seed)
    cases = [(f"invented {number}", invent(chance, chance.randint(2, 7))) for number in range(arguments.cases)]
    for number, (_, case) in enumerate(cases):
        if arguments.keep:
            arguments.keep.mkdir(parents=True, exist_ok=True)
            (arguments.keep / f"invented-{number}.json").write_text(json.dumps(case))
    cases += stored()
    faults = []
    with tempfile.TemporaryDirectory() as folder:
        for name, case in cases:
            faults += compare(arguments.program, Path(folder), chance, name, case)
    print(f"{len(cases)} cases solved twice, {4 * len(cases)} plans weighed twice, seed {arguments.seed}")
    for fault in faults[:40]:
        print(fault)
    if faults:
        sys.exit(f"{len(faults)} differences")


if __name__ == "__main__":
    main()
