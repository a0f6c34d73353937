"""The commands and their options. Each only gathers what was typed; the work is done elsewhere."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from kitopt import __version__
from kitopt.cli.request import (
    CHECK_SCHEMA,
    LEARNED_SCHEMA,
    NOW_SCHEMA,
    READING_SCHEMA,
    REVIEW_SCHEMA,
    STUDY_SCHEMA,
    SUN_SCHEMA,
    VERIFY_SCHEMA,
    WHY_SCHEMA,
    Answer,
    Request,
)
from kitopt.errors import BadInput, Fault

if TYPE_CHECKING:
    from kitopt.cli.options import Options

app = typer.Typer(
    name="kitopt",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)

Page = Annotated[
    Path | None,
    typer.Option("--page", metavar="FILE.html", help="Write a page for phone and paper beside the answer."),
]
Sheet = Annotated[Path | None, typer.Option("--sheet", metavar="FILE.pdf", help="Write a sheet of paper for each kit.")]
PaperFormat = Annotated[str, typer.Option("--paper", metavar="FORMAT", help="Of the sheet: a4 or letter.")]
Out = Annotated[
    Path | None, typer.Option("--out", metavar="DIR", help="Write page, sheet, JSON and checklist into a folder.")
]
Inventory = Annotated[
    Path | None, typer.Option("--inventory", metavar="DIR", help="Folder of CSV files that says what is owned.")
]
Json = Annotated[bool, typer.Option("--json", help="One JSON document on standard output, nothing else there.")]
Plain = Annotated[bool, typer.Option("--plain", help="Draw pictures in letters of ASCII alone.")]
Backup = Annotated[
    str | None,
    typer.Option(metavar="WHAT,...", help="Survive the loss of any one battery, controller, panel or lead named."),
]
Confidence = Annotated[
    str | None, typer.Option(metavar="SHARE", help='Spells of weather to be survived, such as 0.95 or "95 %".')
]
Seconds = Annotated[str | None, typer.Option(metavar="S", help="Stop then, with the best so far and its bound.")]
Windows = Annotated[str | None, typer.Option(metavar="N", help="Spells of weather to try.")]
Seed = Annotated[str | None, typer.Option(metavar="S", help="Seed of the spells of weather.")]
Step = Annotated[str | None, typer.Option(metavar="MINUTES", help="Length of a time step.")]
At = Annotated[
    str | None,
    typer.Option(
        "--at",
        metavar="TIME",
        help='On the clock there, such as "2027-06-12T12:30", or 12:30 today; now when left out.',
    ),
]
Air = Annotated[str | None, typer.Option("--air", metavar="DEGC", help="Air temperature, such as 18.")]
With = Annotated[
    list[str] | None,
    typer.Option("--with", metavar="ID[:N],...", help="Items that each kit must have, so many of each at least."),
]
Without = Annotated[
    list[str] | None,
    typer.Option("--without", metavar="ID[:N],...", help="Items that stay at home, so many of each or all."),
]
Least = Annotated[str | None, typer.Option(metavar="WHAT", help="mass, price or items.")]
Hours = Annotated[str | None, typer.Option(metavar="H", help="Hours instead of the operation's.")]
OperationFile = Annotated[
    Path | None, typer.Argument(metavar="OPERATION.toml", help="What is to be powered; the demo when left out.")
]


def parse(args: list[str]) -> Request | int:
    """What the arguments ask for; an exit code when the parser has already answered.

    Raises
    ------
    BadInput
        If they make no sense.
    """
    command = typer.main.get_command(app)
    try:
        parsed = command.main(args=args, prog_name="kitopt", standalone_mode=False)
    except Exception as error:
        # its parser's exceptions have no public home, but a name and these two methods
        if not any(kind.__name__ == "ClickException" for kind in type(error).__mro__):
            raise
        raise BadInput([_fault_of(error)]) from error
    return parsed if isinstance(parsed, Request) else int(parsed or 0)


def _fault_of(error: Any) -> Fault:
    option = getattr(error, "option_name", None)
    param = getattr(error, "param", None)
    if option is None and param is not None:
        option = param.metavar or param.name if param.param_type_name == "argument" else next(iter(param.opts), None)
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "kitopt"
    text = str(error.format_message()).strip()
    text += "" if text.endswith((".", "?")) else "."
    return Fault(str(option or command), None, None, f"{text} See {command} --help.")


def _typed(context: typer.Context) -> Options:
    """What was typed of the options that stand in for keys of the operation: of those that a command's signature names.

    A command that takes one more of them names it there, and nowhere else.
    """
    from kitopt.cli.options import Options

    typed: dict[str, Any] = {one.name: context.params.get(one.name) for one in fields(Options)}
    return Options(**typed | {name: tuple(typed[name] or ()) for name in ("with_", "without")})


@app.callback(invoke_without_command=True)
def _top(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> Any:
    """Choose the lightest, cheapest or smallest power kit that survives the weather, and prove it.

    The inventory is a folder of CSV files, the operation one TOML file; `kitopt start` writes both to edit.
    Exit codes: 0 found, 1 a defect in kitopt, 2 bad input, 3 no kit works, 4 stopped at the time limit
    without proof, 130 interrupted.
    """
    if version:
        print(f"kitopt {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        print(context.get_help())
        raise typer.Exit


@app.command("pack")
def _pack(
    context: typer.Context,
    operation: OperationFile = None,
    inventory: Inventory = None,
    json: Json = False,
    brief: Annotated[bool, typer.Option("--brief", help="The list alone.")] = False,
    reasons: Annotated[
        bool, typer.Option("--reasons/--no-reasons", help="Say of each item what the best kit is without it.")
    ] = True,
    against: Annotated[
        str | None, typer.Option(metavar="WHAT", help="Weigh mass against hours, confidence or price: several kits.")
    ] = None,
    least: Least = None,
    confidence: Confidence = None,
    hours: Hours = None,
    seconds: Seconds = None,
    windows: Windows = None,
    seed: Seed = None,
    step: Step = None,
    backup: Backup = None,
    kit: Annotated[
        str | None,
        typer.Option(metavar="ID:COUNT,...", help="Judge this kit instead: does it do, what is missing or too much."),
    ] = None,
    page: Page = None,
    sheet: Sheet = None,
    paper: PaperFormat = "a4",
    out: Out = None,
    certificate: Annotated[
        Path | None,
        typer.Option("--certificate", metavar="FILE.json", help="Write the proof, for `kitopt verify` to check."),
    ] = None,
    with_: With = None,
    without: Without = None,
    plain: Plain = False,
) -> Request:
    """Choose the best kit for one operation, or judge the one that is named."""

    def run() -> Answer:
        from kitopt.cli.certify import Certifying
        from kitopt.cli.pack import run_pack
        from kitopt.cli.paper import Paper

        options = _typed(context)
        return run_pack(
            operation,
            inventory,
            options,
            is_json=json,
            is_brief=brief,
            is_plain=plain,
            with_reasons=reasons,
            against=against,
            kit=kit,
            paper=Paper(page, sheet, paper, out),
            certifying=Certifying(certificate, options),
        )

    return Request(run, json)


@app.command("verify")
def _verify(
    certificate: Annotated[
        Path, typer.Argument(metavar="FILE.json", help="What pack --certificate wrote; it needs no file beside it.")
    ],
    json: Json = False,
) -> Request:
    """Check a proof: make every row and number of it again from the files in it, and ask another solver."""

    def run() -> Answer:
        from kitopt.cli.certify import run_verify

        return run_verify(certificate, is_json=json)

    return Request(run, json, VERIFY_SCHEMA)


@app.command("grab-kit")
def _grab_kit(
    context: typer.Context,
    events: Annotated[Path, typer.Argument(metavar="EVENTS.toml", help="What the kit must be ready for.")],
    inventory: Inventory = None,
    json: Json = False,
    mass: Annotated[
        str | None, typer.Option(metavar="KG", help='What lasts longest within a mass, such as "9 kg".')
    ] = None,
    least: Annotated[str | None, typer.Option(metavar="WHAT", help="mass or items.")] = None,
    backup: Backup = None,
    confidence: Confidence = None,
    seconds: Seconds = None,
    windows: Windows = None,
    seed: Seed = None,
    step: Step = None,
    page: Page = None,
    sheet: Sheet = None,
    paper: PaperFormat = "a4",
    out: Out = None,
    with_: With = None,
    without: Without = None,
) -> Request:
    """Choose the smallest standing kit that passes every event of a list in every month named."""

    def run() -> Answer:
        from kitopt.cli.many import run_grab_kit
        from kitopt.cli.paper import Paper

        options = _typed(context)
        return run_grab_kit(events, inventory, options, mass=mass, paper=Paper(page, sheet, paper, out), is_json=json)

    return Request(run, json)


@app.command("buy")
def _buy(
    context: typer.Context,
    season: Annotated[Path, typer.Argument(metavar="SEASON.toml", help="The operations that are planned.")],
    catalogue: Annotated[
        Path | None,
        typer.Option("--catalogue", metavar="DIR", help="What is on offer; else catalogue/ beside the inventory."),
    ] = None,
    budget: Annotated[
        str | None, typer.Option(metavar="N", help="Spend no more; serve as many operations as that allows.")
    ] = None,
    inventory: Inventory = None,
    json: Json = False,
    singles: Annotated[bool, typer.Option("--singles/--no-singles", help="Rank what one piece alone would do.")] = True,
    backup: Backup = None,
    confidence: Confidence = None,
    seconds: Seconds = None,
    windows: Windows = None,
    seed: Seed = None,
    step: Step = None,
    page: Page = None,
    sheet: Sheet = None,
    paper: PaperFormat = "a4",
    out: Out = None,
    with_: With = None,
    without: Without = None,
) -> Request:
    """Say what to buy next for a season: least cost for all of it, or most of it within a budget."""

    def run() -> Answer:
        from kitopt.cli.many import run_buy
        from kitopt.cli.paper import Paper

        options = _typed(context)
        return run_buy(
            season,
            inventory,
            catalogue,
            options,
            budget=budget,
            with_singles=singles,
            paper=Paper(page, sheet, paper, out),
            is_json=json,
        )

    return Request(run, json)


@app.command("share")
def _share(
    context: typer.Context,
    club: Annotated[Path, typer.Argument(metavar="CLUB.toml", help="Operations that draw on one inventory.")],
    inventory: Inventory = None,
    json: Json = False,
    backup: Backup = None,
    confidence: Confidence = None,
    seconds: Seconds = None,
    windows: Windows = None,
    seed: Seed = None,
    step: Step = None,
    page: Page = None,
    sheet: Sheet = None,
    paper: PaperFormat = "a4",
    out: Out = None,
    with_: With = None,
    without: Without = None,
) -> Request:
    """Share one inventory out over operations whose dates may overlap: a sheet for each operator."""

    def run() -> Answer:
        from kitopt.cli.many import run_share
        from kitopt.cli.paper import Paper

        options = _typed(context)
        return run_share(club, inventory, options, paper=Paper(page, sheet, paper, out), is_json=json)

    return Request(run, json)


@app.command("study")
def _study(
    context: typer.Context,
    study: Annotated[
        Path, typer.Argument(metavar="STUDY.toml", help="Sites, months and patterns, each an independent plan.")
    ],
    inventory: Inventory = None,
    rows: Annotated[
        Path | None,
        typer.Option(metavar="FILE.parquet", help="Where rows are kept, and looked for; beside the study without it."),
    ] = None,
    processes: Annotated[
        str | None, typer.Option(metavar="N", help="Processes of this machine; one for each core without it.")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option(metavar="tcp://HOST:PORT", help="A Dask scheduler that runs, instead.")
    ] = None,
    json: Json = False,
    seconds: Annotated[
        str | None, typer.Option(metavar="S", help="Stop then; what is finished is kept, and known the next time.")
    ] = None,
    page: Page = None,
) -> Request:
    """Answer many sites by months: where kits fail, what mends that, which few kits serve most."""

    def run() -> Answer:
        from kitopt.cli.study import run_study

        return run_study(
            study,
            inventory,
            _typed(context),
            rows=rows,
            page=page,
            processes=processes,
            cluster=cluster,
            is_json=json,
        )

    return Request(run, json, STUDY_SCHEMA)


@app.command("why")
def _why(
    context: typer.Context,
    asked: Annotated[
        list[str] | None,
        typer.Argument(metavar="[ITEM] [OPERATION.toml]", help="An item's id; the kit as a whole when left out."),
    ] = None,
    inventory: Inventory = None,
    json: Json = False,
    least: Least = None,
    confidence: Confidence = None,
    hours: Hours = None,
    seconds: Annotated[str | None, typer.Option(metavar="S", help="Stop then, with what is known.")] = None,
    windows: Windows = None,
    seed: Seed = None,
    step: Step = None,
    backup: Backup = None,
    with_: With = None,
    without: Without = None,
) -> Request:
    """Say why an item is packed or not; without an item, what binds the kit and how far it is from the edge."""

    def run() -> Answer:
        from kitopt.cli.why import run_why

        options = _typed(context)
        return run_why(asked or [], inventory, options, is_json=json)

    return Request(run, json, WHY_SCHEMA)


@app.command("sun")
def _sun(
    where: Annotated[
        str | None,
        typer.Argument(
            metavar="[OPERATION.toml|PLACE]",
            help='An operation, a locator, or "46.1,14.5"; the demo when left out.',
        ),
    ] = None,
    at: At = None,
    panel: Annotated[str | None, typer.Option(metavar="ID", help="This panel alone.")] = None,
    air: Air = None,
    declination: Annotated[
        str | None, typer.Option(metavar="DEG", help="Magnetic north from true north, east +: bearings by compass.")
    ] = None,
    inventory: Inventory = None,
    json: Json = False,
    plain: Plain = False,
) -> Request:
    """Say what each panel should give now and by the hour, and where to aim it."""

    def run() -> Answer:
        from kitopt.cli.field import run_sun

        return run_sun(
            where, inventory, at=at, air=air, panel=panel, declination=declination, is_json=json, is_plain=plain
        )

    return Request(run, json, SUN_SCHEMA)


@app.command("reading")
def _reading(
    panel: Annotated[str, typer.Argument(metavar="PANEL", help="The panel's id; or a battery's or lead's.")],
    controller: Annotated[
        str | None, typer.Argument(metavar="[CONTROLLER]", help="Its controller; else the lightest that it reaches.")
    ] = None,
    amps: Annotated[str | None, typer.Option(metavar="A", help="Amperes into the battery.")] = None,
    volts: Annotated[str | None, typer.Option(metavar="V", help="At the battery, while it charges.")] = None,
    panel_volts: Annotated[str | None, typer.Option(metavar="V", help="At the controller's panel input.")] = None,
    voc: Annotated[str | None, typer.Option(metavar="V", help="Of the unplugged panel.")] = None,
    isc: Annotated[str | None, typer.Option(metavar="A", help="Of the panel into the meter alone.")] = None,
    found: Annotated[
        list[str] | None,
        typer.Option(
            "--found",
            metavar="TEST=VALUE",
            help="Another test, such as cover=0, pen=12 or look=no: cover, look, pen, cells, wiggle, load, replug, "
            "folds, lead-ends, turn, clean, second, wait.",
        ),
    ] = None,
    at: At = None,
    where: Annotated[
        str | None,
        typer.Option(metavar="PLACE", help='An operation, a locator, or "46.1,14.5"; the demo when left out.'),
    ] = None,
    aim: Annotated[
        str | None, typer.Option(metavar="HOW", help="flat, facing, or tilt and bearing such as 35,180.")
    ] = None,
    sky: Annotated[str, typer.Option(metavar="HOW", help="clear, hazy or overcast.")] = "clear",
    charge: Annotated[str | None, typer.Option(metavar="SHARE", help='Of the battery, such as "60 %".')] = None,
    air: Air = None,
    discharged: Annotated[
        str | None, typer.Option(metavar="AH", help="Of a battery: what it gave from full until it was empty.")
    ] = None,
    volts_near: Annotated[
        str | None, typer.Option(metavar="V", help="Of a lead, with --amps: between its pins where it is fed.")
    ] = None,
    volts_far: Annotated[str | None, typer.Option(metavar="V", help="At its other end.")] = None,
    keep: Annotated[
        bool, typer.Option("--keep", help="Add it to readings.csv of the inventory; see kitopt learned.")
    ] = False,
    test: Annotated[bool, typer.Option("--test", help="Print the two-minute test with this panel's numbers.")] = False,
    inventory: Inventory = None,
    json: Json = False,
) -> Request:
    """Say whether a panel's amperes are normal, what explains it if not, and what to read next."""

    def run() -> Answer:
        from kitopt.cli.field import Typed, run_reading

        typed = Typed(
            panel=panel,
            controller=controller,
            readings={"amps": amps, "volts": volts, "panel-volts": panel_volts, "voc": voc, "isc": isc},
            found=tuple(found or ()),
            aim=aim,
            sky=sky,
            charge=charge,
            discharged=discharged,
            ends=(volts_near, volts_far),
        )
        return run_reading(typed, where, inventory, at=at, air=air, is_test=test, is_kept=keep, is_json=json)

    return Request(run, json, READING_SCHEMA)


@app.command("now")
def _now(
    operation: OperationFile = None,
    used: Annotated[
        str | None, typer.Option(metavar="AH", help="Out since the start less what went in, such as 9Ah.")
    ] = None,
    charge: Annotated[str | None, typer.Option(metavar="SHARE", help='By a gauge, such as "55 %".')] = None,
    volts: Annotated[str | None, typer.Option(metavar="V", help="Of a battery that has rested for an hour.")] = None,
    at: At = None,
    kit: Annotated[
        str | None, typer.Option(metavar="ID:COUNT,...", help="The kit in hand; that of kitopt pack when left out.")
    ] = None,
    sky: Annotated[
        str | None, typer.Option(metavar="HOW", help="Today: clear, hazy or overcast; else as foreseen.")
    ] = None,
    battery: Annotated[
        str | None, typer.Option(metavar="ID", help="Without an operation and without sun, with --load.")
    ] = None,
    load: Annotated[str | None, typer.Option(metavar="ID", help="What it powers.")] = None,
    page: Page = None,
    sheet: Sheet = None,
    paper: PaperFormat = "a4",
    out: Out = None,
    inventory: Inventory = None,
    json: Json = False,
) -> Request:
    """Say whether the kit in hand lasts from now on, what one change brings, and what may be used by when."""

    def run() -> Answer:
        from kitopt.cli.now import TypedState, run_now
        from kitopt.cli.paper import Paper

        typed = TypedState(used, charge, volts, sky, battery, load)
        wanted = Paper(page, sheet, paper, out)
        return run_now(operation, inventory, typed, at=at, kit=kit, paper=wanted, is_json=json)

    return Request(run, json, NOW_SCHEMA)


@app.command("review")
def _review(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="LOG.csv OPERATION.toml...",
            help="Times and currents, known by the words and units of the columns, and what was planned; "
            "several outings one after the other.",
        ),
    ],
    kit: Annotated[
        list[str] | None,
        typer.Option(
            "--kit", metavar="ID:COUNT,...", help="The kit that was there, or one each; else that of kitopt pack."
        ),
    ] = None,
    inventory: Inventory = None,
    json: Json = False,
) -> Request:
    """Hold logged outings against their plans: ampere-hours by the hour, what was unlike them, what none needed."""

    def run() -> Answer:
        from kitopt.cli.review import run_review

        return run_review(files, inventory, kits=kit or (), is_json=json)

    return Request(run, json, REVIEW_SCHEMA)


@app.command("learned")
def _learned(
    inventory: Inventory = None,
    meter: Annotated[
        str | None,
        typer.Option(
            metavar="SHARE", help='What the meter may be off by in all readings, such as "4 %"; else by inventory.toml.'
        ),
    ] = None,
    json: Json = False,
) -> Request:
    """Say what the kept readings teach of panels, batteries and leads."""

    def run() -> Answer:
        from kitopt.cli.field import run_learned

        return run_learned(inventory, meter, is_json=json)

    return Request(run, json, LEARNED_SCHEMA)


@app.command("check")
def _check(
    operation: OperationFile = None,
    inventory: Inventory = None,
    json: Json = False,
    connectors: Annotated[
        bool, typer.Option("--connectors", help="Print the families of connectors instead: volts, amperes, mates.")
    ] = False,
) -> Request:
    """Read the files and say what is wrong in them, or what was read and what had to be assumed."""

    def run() -> Answer:
        from kitopt.cli.check import run_check, run_connectors

        if connectors:
            return run_connectors(inventory, is_json=json)
        return run_check(operation, inventory, is_json=json)

    return Request(run, json, CHECK_SCHEMA)


@app.command("start")
def _start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Made when it is not there.")],
    plans: Annotated[bool, typer.Option("--plans", help="Also a season, a club's days and a grab-kit.")] = False,
) -> Request:
    """Write a small inventory and operation to edit, every column and key explained."""

    def run() -> Answer:
        from kitopt.cli.start import run_start

        return run_start(folder, with_plans=plans)

    return Request(run)


@app.command("fetch-weather")
def _fetch_weather(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="[OPERATION.toml] FILE", help="The place is the operation's; FILE is written."),
    ],
    latitude: Annotated[str | None, typer.Option(metavar="DEG", help="Instead of an operation; north is +.")] = None,
    longitude: Annotated[str | None, typer.Option(metavar="DEG", help="Instead of an operation; east is +.")] = None,
    first_year: Annotated[str | None, typer.Option(metavar="YEAR", help="Ten years back when left out.")] = None,
    last_year: Annotated[str | None, typer.Option(metavar="YEAR", help="Last year when left out.")] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace FILE if it is there.")] = False,
) -> Request:
    """Save years of hourly NASA POWER weather of a place. The only command that uses the network."""

    def run() -> Answer:
        from kitopt.cli.weather import run_fetch_weather

        return run_fetch_weather(files, latitude, longitude, first_year, last_year, may_replace=force)

    return Request(run)
