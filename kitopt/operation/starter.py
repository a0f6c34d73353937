"""What `kitopt start` writes: an inventory, an operation and, where asked, plans of several; all invented."""

from __future__ import annotations

from pathlib import Path

from kitopt.files.writing import write_folder
from kitopt.inventory.explained import explained
from kitopt.inventory.starter import inventory_files
from kitopt.operation import plan_tables as plans
from kitopt.operation import tables

_OPERATION = """\
# One outing, invented: replace its place, time and loads by yours. `kitopt pack operation.toml` chooses the kit.
# A key behind a # is not in force: it shows its default, or an example where it has none.
"""


PLANS = (("buy", "season.toml"), ("share", "club.toml"), ("grab-kit", "grab-kit.toml"))
"""Commands for several outings, each with the file that it takes."""


def operation_file() -> str:
    """Return the text of an operation with every key."""
    loads = (
        {
            **{"id": '"hf-20w"', "mode": '"ssb"', "transmit": "0.2", "on_air": '["08:00-23:00"]', "quiet": '"off"'},
        },
        {"id": '"light"', "mode": '"on"', "on": '["21:00-23:30"]', "priority": '"nice"'},
    )
    first, *others = (explained(tables.LoadTable, given, "[[loads]]") for given in loads)
    # every key is explained once
    others = ["".join(line for line in text.splitlines(True) if not line.startswith("# ")) for text in others]
    return "\n".join(
        (
            _OPERATION
            + explained(
                tables.TopTable,
                {
                    **{"name": '"First outing"', "start": "2027-06-12T10:00:00", "hours": "24"},
                    **{"station_connector": '"genderless-30"', "panel_distance_m": "5", "batteries": '"in turn"'},
                    **{"battery_lead": '"each"'},
                },
            ),
            explained(tables.SiteTable, {"locator": '"JO20aa"', "coldest_degc": "8", "warmest_degc": "20"}, "[site]"),
            explained(tables.NeedTable, {"confidence": "0.95", "reserve": '"10 %"', "weather": '"climate"'}, "[need]"),
            explained(tables.AimTable, {"mode": '"flat"'}, "[aim]"),
            explained(tables.LimitsTable, {}, "[limits]"),
            explained(tables.GoalTable, {"least": '"mass"'}, "[goal]"),
            first,
            *others,
        )
    )


def plan_files() -> dict[str, str]:
    """Return each plan's name and text: a season, a club's weekend, a grab-kit."""
    here = '"operation.toml"'
    outing = plans.OutingTable
    return {
        "season.toml": "\n".join(
            (
                "# What is planned for a year, invented: `kitopt buy season.toml` says what to buy for all of it.\n"
                + explained(plans.ProgrammeTable, {"name": '"Our year"'}),
                explained(outing, {"file": here}, "[[operations]]"),
                explained(outing, {"file": here, "start": "2027-09-04T08:00:00"}, "[[operations]]"),
            )
        ),
        "club.toml": "\n".join(
            (
                "# Outings that draw on one inventory, invented: `kitopt share club.toml` says who takes what.\n"
                + explained(plans.ProgrammeTable, {"name": '"Club days"'}),
                explained(outing, {"file": here, "operator": '"first team"'}, "[[operations]]"),
                explained(
                    outing,
                    {"file": here, "operator": '"second team"', "start": "2027-06-14T10:00:00"},
                    "[[operations]]",
                ),
            )
        ),
        "grab-kit.toml": "\n".join(
            (
                "# One kit that stands ready, invented: `kitopt grab-kit grab-kit.toml` chooses it.\n"
                + explained(plans.StandingTable, {"name": '"Bag by the door"', "months": '["may", "oct"]'}),
                explained(
                    plans.EventTable,
                    {"file": here, "coldest_degc": "[6, 4]", "warmest_degc": "[18, 14]"},
                    "[[events]]",
                ),
                explained(plans.BagTable, {"name": '"rucksack"', "mass_g": '"12 kg"'}, "[[bags]]"),
            )
        ),
    }


def starter_files(*, with_plans: bool = False) -> dict[str, str]:
    """Return each file's name and text."""
    return {
        **inventory_files(),
        "operation.toml": operation_file(),
        **(plan_files() if with_plans else {}),
    }


def write_starter(folder: Path, *, with_plans: bool = False) -> list[Path]:
    """Write a starter inventory and operation into a folder, all files or none.

    Parameters
    ----------
    folder : Path
        Made when it is not there.
    with_plans : bool
        Whether plans of several outings are written too.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    BadInput
        If one of the files is already there, or the folder cannot be written.
    """
    return write_folder(folder, starter_files(with_plans=with_plans))
