"""The words and numbers that stand for a figure: read back from the drawing and compared with what was drawn."""

import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
import seaborn as sns

from fieldkit.report.figures import style
from fieldkit.report.figures.style import describe, drawn_numbers, new_axes


def series(figure, name):
    table = drawn_numbers(figure)
    return table[table["series"] == name]


def test_lines_points_and_unlabelled():
    figure, axes = new_axes()
    axes.plot([0, 1, 2], [10.0, 12.0, 9.5], label="air")
    axes.scatter([0.0, 1.0], [0.0, 5.0], label="used")
    axes.plot([5], [5])
    assert series(figure, "air")["y"].tolist() == [10.0, 12.0, 9.5]
    assert series(figure, "used")[["x", "y"]].to_numpy().tolist() == [[0.0, 0.0], [1.0, 5.0]]
    assert len(series(figure, "")) == 1
    words = describe(figure, "A test")
    assert words == ("A test. air: n 3, lowest 9.5, highest 12, mean 10.5. used: n 2, lowest 0, highest 5, mean 2.5.")


def test_a_flipped_curve_changes_the_words():
    words = []
    for sign in (1, -1):
        figure, axes = new_axes()
        axes.plot([0, 1, 2], sign * np.array([1.0, 2.0, 4.0]), label="curve")
        words.append(describe(figure, "Curve"))
    assert words[0] != words[1]


def test_error_bars_give_points_and_both_ends():
    figure, axes = new_axes()
    axes.errorbar([1, 2], [5.0, 7.0], yerr=[[1.0, 2.0], [0.5, 0.25]], label="odds ratio", capsize=3, fmt="o")
    assert series(figure, "odds ratio")["y"].tolist() == [5.0, 7.0]
    assert sorted(series(figure, "odds ratio, interval")["y"]) == [4.0, 5.0, 5.5, 7.25]
    assert (drawn_numbers(figure)["series"] != "").all()


def test_bars_and_barh_give_their_lengths():
    figure, (left, right) = new_axes(1, 2)
    left.bar(["stone", "log"], [3, 8], yerr=[1, 1], label="basking")
    right.barh([0, 1], [2.5, 4.0], label="hours")
    bars = series(figure, "basking")
    assert bars["x"].tolist() == ["stone", "log"]
    assert bars["y"].tolist() == [3, 8]
    assert sorted(series(figure, "basking, interval")["y"]) == [2, 4, 7, 9]
    assert series(figure, "hours")["x"].tolist() == [2.5, 4.0]
    assert "panel 2, hours" in describe(figure, "Bars")


def test_ticks_with_words_name_the_rows_of_a_forest_plot():
    figure, axes = new_axes()
    axes.errorbar([1.2, 2.4], [0.1, 1.1], xerr=[0.2, 0.4], fmt="o", label="odds ratio")
    axes.set_yticks([0, 1], ["air", "surface"])
    axes.set_xscale("log")
    axes.set_xticks([0.5, 1, 2], ["0.5", "1", "2"])
    assert series(figure, "odds ratio")[["x", "y"]].to_numpy().tolist() == [[1.2, "air"], [2.4, "surface"]]
    assert "odds ratio (on the x axis): n 2, lowest 1.2, highest 2.4, mean 1.8." in describe(figure, "Forest")


def test_stacked_and_histogram_bars():
    values = np.array([1.0, 1.2, 2.5, 2.6, 2.7, 3.9])
    counts, _ = np.histogram(values, bins=[1, 2, 3, 4])
    figure, axes = new_axes()
    axes.hist(values, bins=[1, 2, 3, 4], label="surface")
    assert series(figure, "surface")["y"].tolist() == counts.tolist()
    axes.hist(values, bins=[1, 2, 3, 4], bottom=10, label="on top")
    assert series(figure, "on top")["y"].tolist() == (counts + 10).tolist()
    figure, axes = new_axes()
    axes.hist(values, bins=[1, 2, 3, 4], histtype="step", label="surface")
    assert set(counts) <= set(series(figure, "surface")["y"])
    figure, axes = new_axes()
    sns.histplot(x=values, bins=[1, 2, 3, 4], ax=axes, label="surface")
    assert series(figure, "surface")["y"].tolist() == counts.tolist()


def test_band_keeps_low_and_high_edges():
    figure, axes = new_axes()
    axes.fill_between([0, 1, 2], [1.0, 2.0, 1.5], [3.0, 4.0, 5.0], label="95 % band")
    assert series(figure, "95 % band, low")["y"].tolist() == [1.0, 2.0, 1.5]
    assert series(figure, "95 % band, high")["y"].tolist() == [3.0, 4.0, 5.0]
    figure, axes = new_axes()
    axes.fill_betweenx([0, 1], [1.0, 2.0], [3.0, 4.0], label="band")
    assert series(figure, "band, low")["x"].tolist() == [1.0, 2.0]
    assert series(figure, "band, high")["x"].tolist() == [3.0, 4.0]


def test_reference_lines_and_spans_have_no_value_on_the_other_axis():
    figure, axes = new_axes()
    axes.plot([0, 40], [0, 1], label="curve")
    axes.axhline(0.5, label="half")
    axes.axvline(21.0, label="switch point")
    axes.axvspan(18.0, 26.0, label="window")
    axes.axhspan(0.2, 0.4, label="low use")
    half, point, window, low = (series(figure, s) for s in ("half", "switch point", "window", "low use"))
    assert half["y"].tolist() == [0.5]
    assert half["x"].isna().all()
    assert point["x"].tolist() == [21.0]
    assert point["y"].isna().all()
    assert window["x"].tolist() == [18.0, 26.0]
    assert low["y"].tolist() == pytest.approx([0.2, 0.4])
    words = describe(figure, "Window")
    assert "half: 0.5." in words
    assert "window (on the x axis): from 18 to 26." in words
    assert "switch point (on the x axis): 21." in words


def test_dates_keep_their_zone_and_missing_values_stay_missing():
    times = pd.date_range("2026-03-29 00:30", periods=4, freq="h", tz="Europe/Berlin")
    figure, axes = new_axes()
    axes.plot(times, [1.0, np.nan, 3.0, 4.0], label="shade air")
    drawn = series(figure, "shade air")
    assert [pd.Timestamp(t) for t in drawn["x"]] == list(times)
    assert drawn["x"].iloc[-1].endswith("+02:00")
    assert "shade air: n 3, lowest 1, highest 4" in describe(figure, "Day")


def test_images_meshes_contours_and_coloured_points():
    grid = np.arange(6.0).reshape(2, 3)
    figure, axes = new_axes(2, 2)
    axes[0, 0].imshow(grid)
    mesh = axes[0, 1].pcolormesh(grid)
    figure.colorbar(mesh, ax=axes[0, 1])
    axes[1, 0].contour(grid, levels=[1.0, 3.0])
    axes[1, 1].scatter([0, 1], [2, 3], c=[10.0, 20.0], label="place")
    table = drawn_numbers(figure)
    assert table["panel"].max() == 4
    for panel in (1, 2):
        part = table[table["panel"] == panel]
        assert part["series"].unique().tolist() == ["image"]
        assert part["y"].tolist() == grid.ravel().tolist()
    assert table.loc[table["panel"] == 3, "y"].tolist() == [1.0, 3.0]
    assert series(figure, "place, colour")["y"].tolist() == [10.0, 20.0]


def test_segments():
    figure, axes = new_axes()
    axes.vlines([1, 2], [0, 0], [3, 4], label="range")
    axes.stem([1, 2], [5, 6], label="days")
    assert sorted(series(figure, "range")["y"]) == [0, 0, 3, 4]
    assert series(figure, "days")["y"].tolist() == [5, 6]


def test_large_series_are_read_quickly_enough_to_be_whole():
    figure, axes = new_axes()
    axes.scatter(np.arange(200_000.0), np.ones(200_000), label="many")
    assert len(drawn_numbers(figure)) == 200_000
    assert "many: n 200000, all 1." in describe(figure, "Many")


def test_rounding_noise_is_not_printed():
    figure, axes = new_axes()
    axes.plot([0, 1], [1.0, -1.0 + 1e-16], label="even")
    assert "mean 0." in describe(figure, "Noise")


def test_empty_figure():
    figure, _ = new_axes()
    assert drawn_numbers(figure).empty
    assert describe(figure, "Nothing yet.") == "Nothing yet."


def test_titles_are_part_of_the_words_once():
    figure, axes = new_axes(1, 2)
    figure.suptitle("Radiation wins")
    axes[0].set_title("Used places\nare sunnier")
    assert style.title_of(figure) == "Radiation wins"
    assert describe(figure, "Radiation wins") == "Radiation wins. Used places are sunnier."


_SAVE = """
import pathlib, sys
from fieldkit.report.figures import new_axes, style
folder = pathlib.Path(sys.argv[1])
folder.mkdir()
figure, axes = new_axes()
axes.plot([0, 1], [1.0, 1 / 3], label="air")
assert style.save(figure, folder) == "figure-001"
assert style.save(figure, folder) == "figure-002"
"""


def test_saved_files_are_the_same_bytes_each_time(tmp_path):
    # A process each, as two readers would: matplotlib numbers things over the life of a process.
    for name in ("a", "b"):
        subprocess.run([sys.executable, "-c", _SAVE, tmp_path / name], check=True)
    for suffix in ("csv", "svg", "png"):
        first, second = ((tmp_path / n / f"figure-001.{suffix}").read_bytes() for n in ("a", "b"))
        assert first == second
    assert pd.read_csv(tmp_path / "a" / "figure-001.csv")["y"].tolist() == [1.0, 1 / 3]


def test_formula_is_drawn_or_refused():
    assert "<svg" in style.formula(r"T_e = T_a + \frac{R}{c_p (g_r + g_{Ha})}")
    assert style.formula(r"\begin{matrix} a \end{matrix}") is None


def test_house_figures_leave_the_readers_settings_alone():
    import matplotlib

    before = matplotlib.rcParams["axes.titlesize"]
    new_axes()
    assert matplotlib.rcParams["axes.titlesize"] == before


def test_long_titles_and_labels_stay_inside_the_figure():
    figure, axes = new_axes()
    axes.plot([1, 2], [1, 2], label="a")
    long = "A finding that needs many words, " * 5
    axes.set_title(long)
    axes.set_xlabel("a label that goes on and on " * 5)
    style.png(figure)
    figure.draw_without_rendering()
    for text in (
        axes.xaxis.label,
        *(t for t in axes.get_children() if getattr(t, "get_text", str)().startswith("A fi")),
    ):
        box = text.get_window_extent()
        assert "\n" in text.get_text() and box.x0 >= 0 and box.x1 <= figure.bbox.x1
    assert long.strip() in describe(figure, "Words")


def test_alt_text_is_short_and_says_what_is_shown_and_found():
    from fieldkit.report.drawn.numbers import short_words

    figure, axes = new_axes()
    axes.plot(range(50), range(50), label="surface")
    axes.set_title("Stones warm up")
    said = short_words(figure, "Surface temperature through the day")
    assert said == "Surface temperature through the day. Stones warm up."
    # A screen reader's listener cannot skip within it; the numbers stand in the folded words.
    long = short_words(figure, "Surface temperature of every stone " * 20)
    assert len(long) < 300 and long.endswith(" …") and "n 50" in describe(figure, "x")
