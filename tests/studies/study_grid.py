"""Air bands of a grid larger than the memory allowed to the workers.

Run: ``python tests/studies/study_grid.py [--years 30] [--rows 120] [--columns 160] [--memory-mb 400]``. Writes an
invented grid
to Zarr, chunked by time as climate files mostly are (the hard way round), makes bands on a local cluster whose
workers
may hold less than the grid, checks them against numpy cell by cell, and prints the numbers.
"""

import argparse
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr


def write_grid(path, *, years, rows, columns):
    """Invented daily extremes with seasons that follow latitude, one year at a time, so that little is in memory."""
    rng = np.random.default_rng(4)
    lat, lon = np.linspace(-35, 35, rows), np.linspace(0, 359, columns)
    amplitude = (12 * np.sin(np.deg2rad(lat)))[None, :, None]
    for year in range(1991, 1991 + years):
        day = pd.date_range(f"{year}-01-01", f"{year}-12-31")
        season = -np.cos(2 * np.pi * (day.day_of_year.to_numpy() - 20) / 365.25)[:, None, None]
        mean = 303 - 0.2 * np.abs(lat)[None, :, None] + amplitude * season
        noise = rng.normal(0, 2, (len(day), rows, columns))
        dims = ("time", "lat", "lon")
        part = xr.Dataset(
            {
                "tasmax": (dims, (mean + noise + 6).astype("float32"), {"units": "K"}),
                "tasmin": (dims, (mean + noise - 6).astype("float32"), {"units": "K"}),
            },
            coords={"time": day, "lat": lat, "lon": lon},
        ).chunk({"time": 366, "lat": rows, "lon": columns})
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Zarr 3 warns about consolidated metadata and times
            if year == 1991:
                units = {"units": "days since 1991-01-01", "dtype": "int32"}
                encoding = {name: {"chunks": (366, rows, columns)} for name in ("tasmax", "tasmin")}
                part.to_zarr(path, mode="w", encoding=encoding | {"time": units}, consolidated=False)
            else:
                part.to_zarr(path, append_dim="time", consolidated=False, safe_chunks=False)


def check_some_cells(bands, data, count):
    """Largest difference between bands and a pandas computation for a few cells."""
    rng = np.random.default_rng(0)
    worst = 0.0
    for _ in range(count):
        i, j = rng.integers(data.sizes["lat"]), rng.integers(data.sizes["lon"])
        cell = data.isel(lat=int(i), lon=int(j)).load()
        south = float(cell["lat"]) < 0
        months = [12, 1, 2] if south else [6, 7, 8]
        high = cell["tasmax"].to_pandas().astype(float) - 273.15
        by_month = high.groupby([high.index.year, high.index.month]).mean()
        by_month.index.names = ["year", "month"]
        expected = by_month.groupby("month").mean().loc[months].mean()
        lon = (float(cell["lon"]) + 180) % 360 - 180
        found = bands.cells["typical_max_c"].sel(season="summer", latitude=float(cell["lat"]), longitude=lon)
        worst = max(worst, abs(float(found) - expected))
    return worst


def main(years, rows, columns, memory_mb):
    """Run the study and print its table."""
    import dask
    from distributed import Client, LocalCluster

    from fieldkit.field.climate.grid import bands as grid

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "grid.zarr"
        write_grid(path, years=years, rows=rows, columns=columns)
        data = xr.open_zarr(path, consolidated=False, chunks={})
        size_mb = data.nbytes / 1e6
        print(f"grid: {dict(data.sizes)}, {size_mb:,.0f} MB; workers: 2 of {memory_mb} MB, {2 * memory_mb} MB in all")
        with (
            dask.config.set({"temporary-directory": folder}),
            LocalCluster(
                n_workers=2, threads_per_worker=1, memory_limit=f"{memory_mb}MB", dashboard_address=None
            ) as cluster,
            Client(cluster) as client,
        ):
            peak = {}

            def watch(dask_scheduler):
                return {w.address: w.metrics["memory"] for w in dask_scheduler.workers.values()}

            import threading

            stop = threading.Event()

            def sample():
                while not stop.wait(0.25):
                    for worker, used in client.run_on_scheduler(watch).items():
                        peak[worker] = max(peak.get(worker, 0), used)

            thread = threading.Thread(target=sample)
            thread.start()
            start = time.perf_counter()
            bands = grid.air_bands(data, memory_mb=64)
            took = time.perf_counter() - start
            stop.set()
            thread.join()
            restarts = client.run_on_scheduler(lambda dask_scheduler: len(dask_scheduler.workers))
        print(f"bands of {bands.settings['n_cells']:,} cells in {took:.0f} s; workers alive at the end: {restarts}")
        print(f"largest memory of a worker: {max(peak.values()) / 1e6:,.0f} MB (limit {memory_mb} MB)")
        print(f"grid / memory of all workers: {size_mb / (2 * memory_mb):.2f}")
        print(f"largest difference from pandas on 25 cells: {check_some_cells(bands, data, 25):.2e} °C")
        print(
            bands.table[["season", "months", "low_c", "high_c", "margin_c", "n_cells"]].round(3).to_string(index=False)
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--years", type=int, default=30)
    parser.add_argument("--rows", type=int, default=120)
    parser.add_argument("--columns", type=int, default=160)
    parser.add_argument("--memory-mb", type=int, default=400)
    main(**vars(parser.parse_args()))
