"""In the field: what panels should give, and why a reading is low. The calls, and results that render themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from kitopt.errors import BadInput, Fault
from kitopt.files.nearest import did_you_mean
from kitopt.inventory.items import Controller, Inventory, Panel
from kitopt.operation.moment import zone_at
from kitopt.operation.place import NEED, place_named
from kitopt.operation.terms import Operation

if TYPE_CHECKING:
    from kitopt.field.label import LabelRead
    from kitopt.field.outlook import SunNow
    from kitopt.field.reach import Reach
    from kitopt.field.site import FieldSite
    from kitopt.field.verdict import Verdict
    from kitopt.inventory.learned import Worth
    from kitopt.sky.overhead import Overhead


@dataclass(frozen=True, eq=False)
class FieldResult:
    """What came of a call about the field.

    Attributes
    ----------
    answer : SunNow, Verdict or LabelRead
        Everything that is known, as values.
    site : FieldSite
        Where and when.
    reach : Reach or None
        The panel and controller of a reading.
    is_test : bool
        Whether the two-minute test was asked for instead of a verdict.
    """

    answer: SunNow | Verdict | LabelRead
    site: FieldSite
    reach: Reach | None = None
    is_test: bool = False

    @property
    def status(self) -> str:
        """Always "found": there is an answer."""
        return "found"

    @property
    def is_label(self) -> bool:
        """Whether it is what a lost label would say."""
        from kitopt.field.label import LabelRead

        return isinstance(self.answer, LabelRead)

    def to_dict(self) -> dict[str, Any]:
        """The object that the command prints with ``--json``."""
        from kitopt.report.field import label_value, reading_value, sun_value, test_value

        if self.reach is None:
            return sun_value(self.answer)  # type: ignore[arg-type]  # without a pair it is the sun's
        value = test_value if self.is_test else label_value if self.is_label else reading_value
        return value(self.answer, self.site, self.reach)  # type: ignore[arg-type]

    def to_text(self, *, is_brief: bool = False) -> str:
        """What the command prints."""
        from kitopt.report.field import label_text, reading_text, sun_text, test_text

        if self.reach is None:
            return sun_text(self.answer)  # type: ignore[arg-type]
        text = test_text if self.is_test else label_text if self.is_label else reading_text
        return text(self.answer, self.site, self.reach)  # type: ignore[arg-type]


def site_at(where: Operation | str, at: datetime | time | None = None, *, air_degc: float | None = None) -> FieldSite:
    """A place at a moment.

    Parameters
    ----------
    where : Operation or str
        An operation, a locator, or latitude and longitude such as "46.1,14.5".
    at : datetime or time, optional
        Without an offset it is on the clock of the place, a time alone today's there; now without it.
    air_degc : float, optional
        Of the air; else by the operation's coldest and warmest, else 20 °C. [°C]

    Raises
    ------
    BadInput
        If it is no place.
    """
    from kitopt.field.site import FieldSite, site_of

    if isinstance(where, Operation):
        return site_of(where, moment_there(at, where.site.timezone), air_degc)
    try:
        latitude, longitude = place_named(where)
    except ValueError:
        raise BadInput([Fault("PLACE", None, None, f'found "{where}", need {NEED}.')]) from None
    return FieldSite(where.strip(), latitude, longitude, 0.0, moment_there(at, zone_at(latitude, longitude)), air_degc)


def present() -> datetime:
    """The present time in UTC: all that is asked of the machine's clock, so that it can be set."""
    return datetime.now(UTC)


def moment_there(at: datetime | time | None, zone: tzinfo | None) -> datetime:
    """A moment on the clock of a place, or of the machine where there is none; now without one."""
    here = present().astimezone(zone)
    if at is None:
        return here.replace(second=0, microsecond=0)
    if isinstance(at, time):
        at = datetime.combine(here.date(), at)
    return at.replace(tzinfo=zone or here.tzinfo) if at.tzinfo is None else at.astimezone(zone)


def sun(
    site: FieldSite, inventory: Inventory, *, panel: str | None = None, declination_deg: float | None = None
) -> FieldResult:
    """What every owned panel should give on each controller that it reaches, and where to aim it.

    Parameters
    ----------
    site : FieldSite
        Of `site_at`.
    panel : str, optional
        Only this one.
    declination_deg : float, optional
        Magnetic north from true north, east positive. [deg]

    Raises
    ------
    BadInput
        For a panel that is not owned.
    """
    from kitopt.field.outlook import outlook
    from kitopt.field.reach import reaches

    if panel is not None:
        owned(inventory, panel, Panel, "PANEL")
    pairs = [one for one in reaches(inventory, site.distance_m) if panel in (None, one.panel.id)]
    return FieldResult(outlook(site, pairs, declination_deg), site)


def reading(
    site: FieldSite,
    inventory: Inventory,
    panel: str,
    controller: str | None = None,
    *,
    found: Mapping[str, float],
    aim: Literal["flat", "facing"] | tuple[float, float] | None = None,
    sky: Overhead = "clear",
    charge_share: float | None = None,
    is_test: bool = False,
) -> FieldResult:
    """Why a reading is what it is, and what to read next.

    Parameters
    ----------
    found : mapping of str to float
        Readings by the names of `kitopt.field.measures.MEASURES`; "amps" is needed unless the test is asked for.
    aim : "flat", "facing" or (tilt, azimuth), optional
        How the panel lies, as declared; without it facing the sun where it tilts, else flat. [deg]
    sky : {"clear", "hazy", "overcast"}
        As declared.
    charge_share : float, optional
        Of the battery, as declared.

    Raises
    ------
    BadInput
        For a panel or controller that is not owned, or that no leads join; while the sun is down.
    """
    from kitopt.field.belief import believe
    from kitopt.field.label import label_of
    from kitopt.field.outlook import light_now, set_up_of
    from kitopt.field.reach import reach, reaches
    from kitopt.field.verdict import judge

    one = owned(inventory, panel, Panel, "PANEL")
    if controller is not None:
        other = owned(inventory, controller, Controller, "CONTROLLER")
        pair = reach(inventory, site.distance_m, one, other)
    else:
        pair = min(
            (p for p in reaches(inventory, site.distance_m) if p.panel is one),
            key=lambda p: (p.controller.mass_g, p.controller.id),
            default=None,
        )
    if pair is None:
        text = f"no leads of yours join {panel} to {controller or 'any controller'} within its volts; see kitopt sun."
        raise BadInput([Fault("CONTROLLER", None, None, text)])
    light = light_now(site, sky)
    set_up = set_up_of(
        pair,
        light,
        lies=not one.tilts,
        air_degc=float(site.air_at(light.at_s[0] * 0.0)[0]),
        charge_share=charge_share,
    )
    if float(light.sun.zenith_deg[0, 0]) > 87.0:
        text = f"the sun is down, or all but down, at {site.at:%Y-%m-%d %H:%M}; need a reading by day, or another --at."
        raise BadInput([Fault("--at", None, None, text)])
    if aim == "facing" or (aim is None and one.tilts):
        set_up = set_up.facing_sun()
    elif isinstance(aim, tuple):
        set_up = replace(set_up, tilt_deg=aim[0], azimuth_deg=aim[1], lies=aim[0] < 3.0)
    else:
        set_up = replace(set_up, lies=True)
    if one.id in inventory.unlabelled and not is_test:
        return FieldResult(label_of(set_up, found["amps"] - found.get("cover", 0.0), found.get("volts")), site, pair)
    found, zero_a = _less_zero(found)
    belief = believe(set_up, {"amps": 0.0, **found} if is_test else found)
    return FieldResult(judge(belief, found.get("volts"), zero_a), site, pair, is_test)


def _less_zero(found: Mapping[str, float]) -> tuple[Mapping[str, float], float]:
    """Readings without what an ammeter shows of nothing, and how much that was; one that shows too little is a cause
    of its own. [A]"""
    from kitopt.field.measures import LEAST_ZERO_A

    zero_a = found.get("cover", 0.0)
    if zero_a < LEAST_ZERO_A:
        return found, 0.0
    less = {name: found[name] - zero_a for name in ("amps", "isc") if name in found}
    return {**found, **less, "cover": 0.0}, zero_a


def keep(result: FieldResult, inventory: Inventory, *, sky: str = "", aim: str = "") -> Path:
    """Add a reading to ``readings.csv`` beside the inventory, for what panels are really worth.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    BadInput
        If it cannot be written.
    """
    from kitopt.field.label import LabelRead
    from kitopt.field.verdict import Verdict
    from kitopt.interface.other_readings import append

    found, reach = result.answer, result.reach
    assert isinstance(found, Verdict | LabelRead)
    assert reach is not None
    if isinstance(found, LabelRead):
        amps, normal = found.amps, 1.0
    else:
        readings = found.belief.readings
        amps, normal = readings["amps"] - readings.get("cover", 0.0), found.belief.told("normal")
        # what nothing explains says nothing of the panel
        normal = 0.0 if found.called == "unexplained" else normal
    # zero says that something is wrong, and nothing of the panel
    worth = max(amps, 0.0) / max(found.expected_a, 1e-6) * reach.panel.output_factor
    cells = {
        "at": result.site.at.isoformat(timespec="minutes"),
        "panel": reach.panel.id,
        "controller": reach.controller.id,
        "amps": f"{amps:.4f}",
        "worth": f"{min(worth, 3.0):.4f}",
        "rated_w": f"{reach.panel.rated_w:g}",
        "normal": f"{normal:.4f}",
        "sky": sky,
        "aim": aim,
    }
    return append(inventory, cells)


@dataclass(frozen=True, eq=False)
class Learned:
    """What the kept readings say of each panel: `worths`, and the same rendered."""

    worths: tuple[Worth, ...]
    inventory: Inventory
    meter_spread: float

    @property
    def status(self) -> str:
        """Always "found"."""
        return "found"

    def to_dict(self) -> dict[str, Any]:
        """The object that the command prints with ``--json``."""
        from kitopt.report.field import learned_value

        return learned_value(self.worths, self.inventory)

    def to_text(self, *, is_brief: bool = False) -> str:
        """What the command prints."""
        from kitopt.report.field import learned_text

        return learned_text(self.worths, self.inventory, self.meter_spread)


def learned(inventory: Inventory, *, meter_spread: float | None = None) -> Learned:
    """What the kept readings of an inventory say of each panel's worth.

    Parameters
    ----------
    meter_spread : float, optional
        What the meter may be off by in every reading alike, as a share; as the inventory has it without it.
    """
    from kitopt.inventory.learned import learn

    spread = inventory.meter_spread if meter_spread is None else meter_spread
    return Learned(learn(inventory, spread), inventory, spread)


def owned(inventory: Inventory, name: str, kind: type[Any], argument: str) -> Any:
    """An item of a kind by its id.

    Raises
    ------
    BadInput
        If there is none, with the nearest.
    """
    item = inventory.by_id.get(name)
    if not isinstance(item, kind):
        near = did_you_mean(name, [i for i, one in inventory.by_id.items() if isinstance(one, kind)])
        text = f'found "{name}", need the id of a {kind.__name__.lower()} in the inventory.{near}'
        raise BadInput([Fault(argument, None, None, text)])
    return item
