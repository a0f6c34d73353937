"""``kitopt sun`` as text and JSON."""

from __future__ import annotations

from typing import Any

import numpy as np

from kitopt.field.aiming import BestAim
from kitopt.field.outlook import WAYS, Outlook, SunNow
from kitopt.files.plain import cut
from kitopt.report.field.wording import head, lines
from kitopt.report.letters import spark
from kitopt.sky.overhead import SKIES

SCHEMA = "kitopt/sun-1"
_NAME = 13


def sun_text(now: SunNow) -> str:
    """Where the sun is, where to aim, and a table of amperes."""
    high = float(now.by_hour.high_deg[0])
    where = f"sun {high:.0f}° high at {now.by_hour.azimuth_deg[0]:.0f}°" if high > 0 else "the sun is down"
    text = lines(f"{head(now.site.name, now.site.at)}: {where}.")
    if now.site.is_air_guessed:
        text += lines("The air is taken as 20 °C; say --air.")
    if now.aim is not None:
        text += _aim(now, now.aim)
    if not now.by_hour.outlooks:
        return "\n".join([*text, "No panel reaches a controller."]) + "\n"
    text += ["", *_table(now)]
    by_hour = _by_hour(now)
    if by_hour:
        text += ["", *by_hour]
        if len({one.reach.panel.id for one in now.by_hour.outlooks}) > 1:
            text += lines("Another panel by the hour: --panel ID.")
    return "\n".join(text) + "\n"


def _aim(now: SunNow, aim: BestAim) -> list[str]:
    bearing = f"{aim.azimuth_deg:.0f}° true"
    if now.declination_deg is not None:
        bearing += f", {(aim.azimuth_deg - now.declination_deg) % 360.0:.0f}° magnetic"
    text = f"Aim: bearing {bearing}, tilted {aim.tilt_deg:.0f}°"
    tall = sorted(
        {(one.reach.panel.height_cm, one.reach.panel.id) for one in now.by_hour.outlooks if one.reach.panel.height_cm}
    )
    if tall:
        ways = ", ".join(f"{name} {aim.raised_cm(height or 0.0):.0f} cm" for height, name in tall)
        text += f" (raise the far edge: {ways})"
    found = lines(f"{text}.", "", "  ")
    gain = 100.0 * (aim.gain_share - 1.0)
    worth = "worth it" if aim.is_worth_it else "not worth the walk"
    again = f"turn it again at {aim.again:%H:%M}" if aim.again is not None else "good until the sun is down"
    say = f"Over flat that gains {gain:.0f} % till {aim.until:%H:%M} under a clear sky: {worth}; {again}."
    return [*found, *lines(say, "", "  "), *lines("Under an overcast sky lay it flat: no aim gains.", "", "  ")]


def _table(now: SunNow) -> list[str]:
    """Amperes now, one line for each panel and the controllers that give alike."""
    rows = [f"{'amperes now':{2 * _NAME + 1}}" + "".join(f"{sky:>14}" for sky in SKIES)]
    rows.append(f"{'':{2 * _NAME + 1}}" + f"{'flat':>6}{'facing':>8}" * len(SKIES))
    alike: dict[tuple[str, str], list[str]] = {}
    for one in now.by_hour.outlooks:
        cells = "".join(f"{_now(one, sky, 'flat'):6.2f}{_now(one, sky, 'facing'):8.2f}" for sky in SKIES)
        alike.setdefault((one.reach.panel.id, cells), []).append(one.reach.controller.id)
    last = ""
    for (panel, cells), controllers in alike.items():
        name = panel if panel != last else ""
        last = panel
        rows.append(f"{cut(name, _NAME):{_NAME}} {cut(_joined(controllers), _NAME):{_NAME}}{cells}")
    low, high = min(o.low_share for o in now.by_hour.outlooks), max(o.high_share for o in now.by_hour.outlooks)
    if now.aim is not None:
        rows += lines(f"Nine readings in ten lie within {low:.2f} to {high:.2f} times that.")
    return rows


def _joined(controllers: list[str]) -> str:
    if len(controllers) == 1:
        return controllers[0]
    stems = {name.rpartition("-")[0] for name in controllers}
    if len(stems) == 1 and (stem := stems.pop()):
        return f"{stem}-" + "/".join(name.rpartition("-")[2] for name in controllers)
    return f"{controllers[0]} +{len(controllers) - 1}"


def _now(one: Outlook, sky: str, way: str) -> float:
    return float(one.amps[sky, way][0])


def _by_hour(now: SunNow) -> list[str]:
    """The largest panel by the hour; the others in proportion."""
    one = max(now.by_hour.outlooks, key=lambda o: (o.reach.panel.rated_w, _now(o, "clear", "facing")))
    rows = [f"{cut(f'{one.reach.panel.id} on {one.reach.controller.id}', 26):27}" + "".join(f"{s:>14}" for s in SKIES)]
    for i, (later, zenith) in enumerate(zip(now.by_hour.at_h, now.by_hour.zenith_deg, strict=True)):
        if i == 0 or zenith >= 90.0:
            continue
        clock = _clock(now, float(later))
        high = f"sun {90.0 - zenith:2.0f}° at {now.by_hour.azimuth_deg[i]:3.0f}°"
        cells = "".join(f"{float(one.amps[s, 'flat'][i]):6.2f}{float(one.amps[s, 'facing'][i]):8.2f}" for s in SKIES)
        rows.append(f"{clock}  {high:20}{cells}")
    if len(rows) < 2:
        return []
    lit = [i for i, zenith in enumerate(now.by_hour.zenith_deg) if i > 0 and zenith < 90.0]
    amps = [float(one.amps["clear", "facing"][i]) for i in lit]
    first, last = (_clock(now, float(now.by_hour.at_h[i])) for i in (lit[0], lit[-1]))
    picture = spark(amps, 0.0, max(amps))
    return [*rows, *lines(f"{first} {picture} {last}, clear and facing: {max(amps):.2f} A at most")]


def _clock(now: SunNow, later_h: float) -> str:
    minutes = round(60 * (now.site.at.hour + now.site.at.minute / 60 + now.site.at.second / 3600 + later_h))
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def sun_value(now: SunNow) -> dict[str, Any]:
    """The same as JSON: amperes of every pair, sky, way and hour."""
    aim = now.aim
    return {
        "schema": SCHEMA,
        "status": "found",
        "name": now.site.name,
        "at": now.site.at.isoformat(timespec="seconds"),
        "latitude": now.site.latitude_deg,
        "longitude": now.site.longitude_deg,
        "air_degc": [round(float(one), 2) for one in now.site.air_at(now.by_hour.at_h)],
        "hours_later": [round(float(one), 4) for one in now.by_hour.at_h],
        "sun_high_deg": [round(float(one), 2) for one in now.by_hour.high_deg],
        "sun_azimuth_deg": [round(float(one), 2) for one in now.by_hour.azimuth_deg],
        "aim": None
        if aim is None
        else {
            "tilt_deg": round(aim.tilt_deg, 1),
            "azimuth_deg": round(aim.azimuth_deg, 1),
            "magnetic_deg": None
            if now.declination_deg is None
            else round((aim.azimuth_deg - now.declination_deg) % 360.0, 1),
            "again": None if aim.again is None else aim.again.isoformat(timespec="minutes"),
            "gain_share": round(aim.gain_share, 4),
            "is_worth_it": aim.is_worth_it,
        },
        "panels": [
            {
                "panel": one.reach.panel.id,
                "controller": one.reach.controller.id,
                "battery": one.reach.battery.id,
                "leads": list(one.reach.leads),
                "lead_ohm": round(one.reach.lead_ohm, 4),
                "raise_cm": None
                if aim is None or one.reach.panel.height_cm is None
                else round(aim.raised_cm(one.reach.panel.height_cm), 1),
                "ninety_percent": [round(one.low_share, 3), round(one.high_share, 3)],
                "amps": {
                    sky: {way: [round(float(a), 3) for a in np.asarray(one.amps[sky, way])] for way in WAYS}
                    for sky in SKIES
                },
            }
            for one in now.by_hour.outlooks
        ],
    }
