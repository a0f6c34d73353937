"""The certificate of a choice: its proof made anew in rows that each say where they come from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitopt import __version__
from kitopt.budget import UNLIMITED, Budget
from kitopt.certificate.document import SCHEMA, row_value
from kitopt.certificate.inputs import carried
from kitopt.certificate.proof import NotProved, prove
from kitopt.certificate.stated import cases_value, class_value, classes_of, incumbent_value, said, totals_value
from kitopt.choice import Choice


class NoCertificate(Exception):
    """There is none for this choice; the text says why."""


def certificate(choice: Choice, options: Mapping[str, Any], budget: Budget = UNLIMITED) -> dict[str, Any]:
    """What is written for a choice.

    Parameters
    ----------
    options : mapping
        What was typed in place of keys of the operation.

    Raises
    ------
    NoCertificate
        For a choice without proof or kit, of several circuits or banks, or with rules that are not rows.
    BadInput
        If a file of it cannot be carried.
    OutOfTime
    """
    operation = choice.operation
    if choice.status != "found" or choice.proof.objective is None or not choice.proof.proved:
        raise NoCertificate("there is no kit that is proved best")
    if choice.circuits or choice.made is None:
        raise NoCertificate("several circuits have a program of their own kind, whose rows are not restated yet")
    if operation.n_banks > 1:
        raise NoCertificate("banks that charge apart are judged together, and their rows are not restated yet")
    if choice.made.model.socket_columns:
        raise NoCertificate("what loads with batteries of their own get through is settled beside the rows")
    if operation.nices and operation.nice_at_most_g is not None and operation.least != "mass":
        raise NoCertificate("a limit to what nice loads may add counts mass, and something else is made small")
    value, inputs = choice.proof.objective, carried(operation, choice.inventory, options)
    classes, incumbent, proved = [], None, []
    for number, one in enumerate(classes_of(operation, choice.inventory, choice.sky, budget)):
        if one.plan.either:
            raise NoCertificate("one of several rules is asked for, which is no row")
        try:
            found = prove(one.plan, value, budget)
        except NotProved as error:
            raise NoCertificate(f"{one.model.bus.name}: {error}") from error
        if incumbent is None and one.model.bus == choice.made.model.bus:
            incumbent = incumbent_value(number, one, choice.made.counts)
        proved.append((one, found.rows))
        learned = {"cases": cases_value(found.origins, found.others), "learned": list(map(row_value, found.rows))}
        classes.append(class_value(one) | learned)
    return {
        "schema": SCHEMA,
        "says": said(operation.least),
        "made_with": f"kitopt {__version__}",
        "inputs": inputs,
        "of": operation.least,
        "bound": value,
        "incumbent": incumbent,
        "classes": classes,
        "totals": totals_value(proved),
    }
