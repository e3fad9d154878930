"""Animals seen incidentally: rates only where somebody is known to have watched."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fieldkit.core import FieldkitError
from fieldkit.field import sightings
from fieldkit.report.figures import drawn_numbers
from fieldkit.report.figures import sightings as figures

ZONE = "Etc/GMT+5"
# On the zone's own meridian the sun is at most 17 minutes off the clock.
SITE = SimpleNamespace(longitude_deg=-75.0, latitude_deg=36.0)


def rounds(days, first="08:30", last="11:30", every="30min"):
    """Scans at fixed times of several days in May."""
    times = [pd.date_range(f"2025-05-{d:02d} {first}", f"2025-05-{d:02d} {last}", freq=every, tz=ZONE) for d in days]
    return pd.DataFrame({"time": np.concatenate(times), "behaviour": "retreat"}).astype({"time": times[0].dtype})


def met(*rows):
    table = pd.DataFrame(rows, columns=["time", "behaviour", "count", "animal_id"])
    return table.assign(time=pd.to_datetime(table["time"]).dt.tz_localize(ZONE))


def season(seen, scans=None, loggers=None, info=None):
    return SimpleNamespace(sightings=seen, scans=scans, loggers=loggers, logger_info=info, site=SITE)


def test_rates_are_counted_within_the_time_watched():
    seen = met(
        ("2025-05-03 09:10", "basking", 2, "R1"),
        ("2025-05-03 10:50", "moving", np.nan, "R2"),
        ("2025-05-04 10:40", "basking", 1, None),
        ("2025-05-04 15:00", "basking", 1, "R1"),  # nobody watched then
        ("2025-05-20 09:00", "moving", 1, "R1"),  # nor on that day
    )
    found = sightings.of_season(season(seen, rounds([3, 4, 5, 6, 7, 8])), n_resamples=99)
    row = found.table.loc["all"]
    # Six mornings of three hours; three sightings within them; a group is one sighting and two animals.
    assert row["hours_watched"] == pytest.approx(18) and row["sightings_per_h"] == pytest.approx(3 / 18)
    assert (row["sightings"], row["animals"]) == (5, 6) and row["exposed_share"] == pytest.approx(4 / 6)
    assert found.left_out["row"].tolist() == [3, 4]
    blocks = found.table.loc[["8–10 h", "10–12 h"]]
    assert blocks["hours_watched"].sum() == pytest.approx(18)
    # The mornings from 8:30 to 10:00 of the clock; the sun runs three to four minutes ahead of it in May.
    assert blocks["hours_watched"].iloc[0] == pytest.approx(6 * (1.5 - 3.4 / 60), abs=6 / 60)
    assert blocks["sightings_per_h"].iloc[0] == pytest.approx(1 / blocks["hours_watched"].iloc[0])
    assert (found.n_days, found.n_named) == (3, 2)
    assert "In 18 hours of watching that is 0.17 sightings an hour" in found.sentence


def test_another_level_is_said_where_its_limits_stand():
    import fieldkit

    found = sightings.of_season(fieldkit.demo_season(), level=0.9, n_resamples=99)
    figure = figures.seen(found)
    labels = [text.get_text() for text in figure.legends[0].get_texts()]
    for words in (found.sentence, figure.get_suptitle(), " ".join(labels)):
        assert "90 % interval" in words and "95 %" not in words


def test_where_nobody_was_seen_the_limit_is_that_of_a_poisson_count():
    seen = met(*[(f"2025-05-0{d} 09:10", "basking", 1, None) for d in range(3, 9)])
    found = sightings.of_season(season(seen, rounds([3, 4, 5, 6, 7, 8])), n_resamples=99)
    row = found.table.loc["10–12 h"]
    # Garwood (1936), Biometrika 28:437: upper limit of a count of 0 is half the 97.5 % quantile of chi² on 2 df.
    assert (row["low"], row["sightings_per_h"]) == (0, 0)
    assert row["high"] == pytest.approx(stats.chi2.ppf(0.975, 2) / 2 / row["hours_watched"])
    assert found.table.loc["8–10 h", "differs"]


def test_limits_agree_with_an_exact_count_where_days_are_alike():
    rng = np.random.default_rng(3)
    days = range(1, 31)
    times = pd.concat([rounds([d]).sample(rng.poisson(4), replace=True, random_state=d)["time"] for d in days])
    seen = pd.DataFrame({"time": times + pd.Timedelta("-7min"), "behaviour": "basking"})
    seen = seen[seen["time"].dt.strftime("%H:%M") >= "08:30"].reset_index(drop=True)
    found = sightings.of_season(season(seen, rounds(days)), rng=1)
    row, hours = found.table.loc["all"], 30 * 3
    exact = stats.chi2.ppf([0.025, 0.975], [2 * len(seen), 2 * len(seen) + 2]) / 2 / hours
    np.testing.assert_allclose([row["low"], row["high"]], exact, rtol=0.15)
    assert not found.table["differs"].any()


def test_an_hour_that_stands_out_is_said():
    rng = np.random.default_rng(5)
    rows = []
    for day in range(1, 25):
        for hour, mean in ((9, 0.2), (10, 2.0)):
            rows += [
                (f"2025-05-{day:02d} {hour}:{m:02d}", "basking", 1, None)
                for m in rng.integers(5, 55, rng.poisson(mean))
            ]
    found = sightings.of_season(season(met(*rows), rounds(range(1, 25))), rng=1)
    assert found.table["differs"].to_dict() == {"all": False, "8–10 h": True, "10–12 h": True}
    assert "more than over all at 10–12 h of the sun, less than over all at 8–10 h of the sun" in found.sentence
    panels = figures.seen(found).axes
    assert panels[0].get_title(loc="left").startswith("More than over all at 10–12 h")


@pytest.mark.parametrize("scans", [None, rounds([3, 4], every="150min")])
def test_without_a_watch_counts_are_no_rates(scans):
    seen = met(("2025-05-03 09:10", "basking", 1, None), ("2025-07-03 10:10", "basking", 1, None))
    found = sightings.of_season(season(seen, scans))
    assert not found.rate_known and found.table["sightings_per_h"].isna().all() and found.left_out.empty
    assert "counts and no rates" in found.sentence and "an hour" not in found.sentence
    figure = figures.seen(found)
    assert "no rate" in figure.axes[0].get_ylabel() and "not on record" in figure.axes[0].get_title(loc="left")
    assert drawn_numbers(figure)["y"].tolist() == [*found.table["sightings"].iloc[1:].tolist(), 1, 1]


def test_what_the_loggers_read_at_the_sightings():
    seen = met(("2025-05-03 09:10", "basking", 1, None), ("2025-05-03 11:10", "moving", 1, None))
    times = pd.date_range("2025-05-03 08:00", "2025-05-03 12:00", freq="h", tz=ZONE)
    loggers = pd.DataFrame({"time": times, "logger_id": "L1", "value": [10.0, 20, 30, 40, 50]})
    info = pd.DataFrame({"logger_id": ["L1", "L2"], "role": ["shade_air", "copper_model"]})
    loggers = pd.concat([loggers, loggers.assign(logger_id="L2", value=33.0)])
    found = sightings.conditions(season(seen, rounds([3]), loggers, info))
    row = found.table.loc["L1"]
    assert (row["readings"], row["median"]) == (2, 30) and row["watched_median"] == pytest.approx(30, abs=5)
    assert "operative (copper model) 33.0 °C on L2 (over the time watched 33.0)" in found.sentence
    unwatched = sightings.conditions(season(seen, None, loggers, info))
    assert unwatched.table["watched_median"].isna().all() and "watched" not in unwatched.sentence
    with pytest.raises(FieldkitError, match="within 5min of a sighting"):
        sightings.conditions(season(seen, None, loggers, info), tolerance="5min")
    with pytest.raises(FieldkitError, match="No logger of air"):
        sightings.conditions(season(seen))


def test_a_season_without_sightings_is_told_so():
    with pytest.raises(FieldkitError, match="no sightings"):
        sightings.of_season(season(None))


def test_hours_in_which_the_sun_reached_a_shade_logger_are_left_out_and_named():
    # The demo's makers wrote down which logger stood in the sun, and when.
    import fieldkit
    from fieldkit.demo.season import TRUTH

    sunny = TRUTH["logger_in_the_sun"]
    found = sightings.conditions(fieldkit.demo_season())
    assert set(found.left_out["logger_id"]) == {sunny["logger_id"]}
    days = pd.to_datetime(found.left_out["day"])
    assert days.min() >= pd.Timestamp(sunny["from"][:10]) and days.max() <= pd.Timestamp(sunny["to"][:10])
    assert found.table.loc[sunny["logger_id"], "readings"] < found.table.loc["shade-1", "readings"]
    assert f"{sunny['logger_id']} on {len(found.left_out)} days" in found.sentence
