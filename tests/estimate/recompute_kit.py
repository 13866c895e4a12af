"""An estimate computed again from nothing but its exported JSON, with ``decimal`` and none of our code.

Every check is a generator of faults in words. Sums of money are done a second time with py-moneyed.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from moneyed import Money

Json = dict[str, Any]
KINDS = ("labour", "part", "fluid", "sublet", "fee", "supplies")
ON = {"labour": ("labour",), "parts": ("part", "fluid"), "total": KINDS}
ZERO = Decimal(0)


class Again:
    """One estimate's JSON with its smallest coin."""

    def __init__(self, estimate: Json) -> None:
        self.estimate = estimate
        self.terms: Json = estimate["terms"]
        self.coin = Decimal(self.terms["smallest"])

    def cents(self, value: Decimal) -> Decimal:
        return value.quantize(self.coin, rounding=ROUND_HALF_UP)

    def faults(self) -> list[str]:
        return [*self.line_faults(), *self.job_faults(), *self.total_faults()]

    # -- lines

    def lines(self, *, counted: bool = False) -> list[Json]:
        return [
            line for job in self.estimate["jobs"] if not (counted and job["put_off"]) for line in job["lines"]
        ]

    def line_faults(self) -> Iterator[str]:
        ids = [line["id"] for line in self.lines()]
        if len(ids) != len(set(ids)) or not all(ids):
            yield "ids of lines are missing or not unique"
        for line in self.lines():
            for fault in (*self.price_faults(line), *self.amount_faults(line), *self.hour_faults(line, ids)):
                yield f"{line['id']}: {fault}"

    def amount_faults(self, line: Json) -> Iterator[str]:
        if line["amount"] is None:
            if not line["asks"] or line["arithmetic"] != "To be priced.":
                yield "open without an ask or without saying so"
            return
        amount = Decimal(line["amount"])
        if line["hours"] is not None:
            times = Decimal(line["hours"])
        elif line["kind"] in ("labour", "sublet"):
            times = Decimal(line["basis"]["units"])
        else:
            times = Decimal(line["quantity"])
        if self.cents(times * Decimal(line["unit_price"])) != amount:
            yield f"{times} × {line['unit_price']} is not {amount}"
        if line["unit_price_high"] is not None:
            high = self.cents(times * Decimal(line["unit_price_high"]))
            if line["amount_high"] is None or high != Decimal(line["amount_high"]) or high < amount:
                yield f"the upper end is not {high}"
        explained = "less" in line["arithmetic"] and line["basis"]["less"]
        if amount == 0 and not (explained or line["changed"] or line["asked_by"] == "advisor"):
            yield "a price of zero that nothing explains"
        if not line["arithmetic"]:
            yield "an amount without arithmetic"

    def hour_faults(self, line: Json, ids: list[str]) -> Iterator[str]:
        basis = line["basis"]
        if basis["hours_each"] is None:
            return
        hours = Decimal(basis["units"]) * Decimal(basis["hours_each"])
        hours -= sum((Decimal(less["hours"]) for less in basis["less"]), ZERO)
        if line["hours"] is None or hours != Decimal(line["hours"]):
            yield f"{hours} h by the catalogue, {line['hours']} h charged"
        if any(less["by"] not in ids for less in basis["less"]):
            yield "hours are taken off for a line that is not there"

    def price_faults(self, line: Json) -> Iterator[str]:
        basis = line["basis"]
        if line["changed"] or line["asked_by"] == "advisor":
            return  # an advisor's own price
        if line["kind"] == "labour" and line["hours"] is not None:
            if Decimal(line["unit_price"]) != Decimal(self.terms["rates"][line["rate_type"]]):
                yield f"{line['unit_price']} is not the {line['rate_type']} rate"
        elif basis["cost"] is not None and line["unit_price"] is not None:
            ends = [Decimal(basis["cost"]) * Decimal(basis["factor"])]
            if basis["cost_high"] is not None:
                ends.append(Decimal(basis["cost_high"]) * Decimal(basis["factor_high"]))
            if Decimal(line["unit_price"]) != min(ends):
                yield f"{line['unit_price']} is not {min(ends)}"
            if line["kind"] in ("part", "fluid") and self.factor(basis["cost"]) != Decimal(basis["factor"]):
                yield f"{basis['cost']} is marked up by {basis['factor']}, which no band has"
            if line["kind"] == "sublet":
                percent = Decimal(self.terms["sublet_markup_percent"])
                if Decimal(basis["factor"]) != 1 + percent / 100:
                    yield f"sent out at {basis['factor']}, not at {percent} %"

    def factor(self, cost: str) -> Decimal:
        for band in self.terms["markup"]:  # in rising order
            if band["up_to"] is None or Decimal(cost) <= Decimal(band["up_to"]):
                return Decimal(band["factor"])
        return Decimal(1)

    # -- sums

    def job_faults(self) -> Iterator[str]:
        for job in self.estimate["jobs"]:
            if job["id"] == "" or not job["lines"]:
                yield "a job without id or lines"
            known = [Decimal(x["amount"]) for x in job["lines"] if x["amount"] is not None]
            if Decimal(job["subtotal"]) != sum(known, ZERO):
                yield f"{job['id']}: the subtotal is not the sum of its lines"
            money = sum(
                (Money(a, self.estimate["currency"]) for a in known), Money(0, self.estimate["currency"])
            )
            if money.amount != Decimal(job["subtotal"]):
                yield f"{job['id']}: py-moneyed makes it {money}"

    def total_faults(self) -> Iterator[str]:
        totals: Json = self.estimate["totals"]
        low, lines = self.sums("amount"), self.lines(counted=True)
        for name, value in low.items():
            if Decimal(totals[name]) != value:
                yield f"{name} is {totals[name]}, and by the lines {value}"
        if totals["open_lines"] != sum(x["amount"] is None for x in lines):
            yield "open lines are counted wrong"
        ranged = any(x["amount_high"] is not None for x in lines)
        if ranged != (totals["total_high"] is not None):
            yield "an upper end of the total where there is no range, or none where there is"
        if ranged and Decimal(totals["total_high"]) != self.sums("amount_high")["total"]:
            yield f"the upper end is {totals['total_high']}"
        if sum((Decimal(t["amount"]) for t in totals["tax_lines"]), ZERO) != Decimal(totals["tax"]):
            yield "the taxes do not add up"
        currency = self.estimate["currency"]
        parts = [Money(totals[k], currency) for k in ("labour", "parts", "sublet", "fees", "supplies", "tax")]
        if sum(parts, Money(0, currency)) - Money(totals["discount"], currency) != Money(
            totals["total"], currency
        ):
            yield "the total is not its parts by py-moneyed"

    def sums(self, field: str) -> dict[str, Decimal]:
        terms = self.terms
        net = dict.fromkeys(KINDS, ZERO)
        for line in self.lines(counted=True):
            if line["amount"] is not None:
                net[line["kind"]] += Decimal(line[field] or line["amount"])
        net["supplies"] = self.cents(net["labour"] * Decimal(terms["supplies_percent"]) / 100)
        if terms["supplies_cap"] is not None:
            net["supplies"] = min(net["supplies"], self.cents(Decimal(terms["supplies_cap"])))
        gross = dict(net)
        discount = ZERO
        for rule in terms["discounts"]:
            kinds = ON[rule["on"]]
            base = sum((net[k] for k in kinds), ZERO)
            off = base * Decimal(rule["percent"]) / 100 if rule["percent"] else Decimal(rule["amount"])
            off = min(self.cents(off), self.cents(base))
            discount += off
            for k in kinds:
                net[k] -= off * net[k] / base if base else ZERO
        tax = ZERO
        for rule in terms["taxes"]:
            base = self.cents(sum((net[k] for k in rule["on"]), ZERO))
            tax += self.cents(base * Decimal(rule["percent"]) / 100)
        found = {
            "labour": gross["labour"],
            "parts": gross["part"] + gross["fluid"],
            "sublet": gross["sublet"],
            "fees": gross["fee"],
            "supplies": gross["supplies"],
            "discount": discount,
            "tax": tax,
        }
        found["total"] = sum(gross.values(), ZERO) - discount + tax
        return found
