"""The drift watch on a CSV log of anybody's."""

import io
import json
from pathlib import Path

import numpy as np
import pytest

from drift_shop import START, STEP, Shop, Wrong
from steadybead_collector.analyse_drift import analyse_drift
from steadybead_collector.drift_log import in_order

HEADER = "time_s,nozzle_c,flow_l_min,power_w,inlet_c,set_c"
NAMES = ("nozzle", "flow", "power", "inlet", "set")
MEMBERS = [
    "time_s",
    "nozzle_c",
    "flow_l_min",
    "power_w",
    "residual_w",
    "sigma_w",
    "drift_c",
    "low_c",
    "high_c",
    "cause",
    "finding",
    "next_step",
    "not_detectable",
]


def rows(shifts: int, onset: int, wrong: Wrong, every: int = 20) -> list[list[float]]:
    shop, made = Shop(4), []
    for day in range(shifts):
        start, columns, _ = shop.shift(day, wrong if day >= onset else Wrong())
        for i in range(0, len(columns["gun-a/nozzle"]), every):
            seconds = (start - START + i) * STEP / 1e6
            made.append([seconds, *(columns[f"gun-a/{n}"][i] for n in NAMES)])
    return made


def write(path: Path, made: list[list[float]], header: str = HEADER) -> Path:
    lines = [",".join(f"{v:.3f}" for v in row) for row in made]
    path.write_text("\n".join([header, *lines]) + "\n")
    return path


def analysed(path: Path) -> list[dict[str, object]]:
    out = io.StringIO()
    assert analyse_drift(path, out) == 0
    return [json.loads(line) for line in out.getvalue().splitlines()]


@pytest.fixture(scope="module")
def drifting() -> list[list[float]]:
    return rows(16, 10, Wrong(nozzle_c=14.0))


def test_a_drifting_log_is_told_with_its_size(drifting: list, tmp_path: Path) -> None:
    lines = analysed(write(tmp_path / "log.csv", drifting))
    assert all(list(line) == MEMBERS for line in lines)
    assert [line["time_s"] for line in lines] == sorted(line["time_s"] for line in lines)
    assert lines[0]["residual_w"] is None
    assert "still learning" in lines[0]["not_detectable"]
    found = [line for line in lines if line["finding"]]
    assert found
    assert found[0]["time_s"] > 10 * 86_400
    assert found[0]["cause"] == "drift_cannot_tell"
    after = [line for line in lines if line["residual_w"] is not None and not line["finding"]]
    late = [line for line in after if line["time_s"] > 12 * 86_400]
    assert np.median([line["drift_c"] for line in late]) == pytest.approx(14.0, abs=3.0)
    assert all(line["low_c"] < line["drift_c"] < line["high_c"] for line in after)


def test_one_bad_time_stamp_changes_nothing_else(drifting: list, tmp_path: Path) -> None:
    clean = analysed(write(tmp_path / "clean.csv", drifting))
    for bad in (1e9, -5.0, float("nan")):
        spoilt = [list(row) for row in drifting]
        spoilt.insert(700, [bad, *spoilt[700][1:]])
        assert analysed(write(tmp_path / "spoilt.csv", spoilt)) == clean


def test_reference_readings_count_as_checks(tmp_path: Path) -> None:
    made = rows(14, 9, Wrong(nozzle_c=6.0))
    for row in made:
        probed = 5400 < row[0] % 86_400 < 5460
        wrong = 6.0 if row[0] > 9 * 86_400 else 0.0
        row.append(row[1] - wrong - 1.5 if probed else float("nan"))
    lines = analysed(write(tmp_path / "log.csv", made, f"{HEADER},reference_c"))
    causes = [line["cause"] for line in lines if line["finding"]]
    assert causes[-1] == "thermocouple_drift"


def test_temperature_alone_says_that_drift_is_not_detectable(
    drifting: list, tmp_path: Path
) -> None:
    made = [row[:2] for row in drifting]
    lines = analysed(write(tmp_path / "log.csv", made, "time_s,nozzle_c"))
    assert lines
    assert all(line["residual_w"] is None and line["finding"] is None for line in lines)
    assert "thermocouple drift: not detectable" in lines[-1]["not_detectable"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no column time_s and nozzle_c"),
        ("time_s,temp\n1,2\n", "no column nozzle_c"),
        ("time_s,nozzle_c\n", "no row with a time"),
        ("time_s,nozzle_c\n1,300\n2,warm\n", "line 3, nozzle_c: 'warm' is no number"),
        ("time_s,nozzle_c\n0,300\n1e12,300\n", "more than 5 years"),
    ],
)
def test_what_cannot_be_read_is_said_in_one_line(
    text: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "log.csv"
    path.write_text(text)
    out = io.StringIO()
    assert analyse_drift(path, out) == 2
    error = capsys.readouterr().err
    assert says in error
    assert error.count("\n") == 1
    assert out.getvalue() == ""


def test_a_missing_or_binary_file_is_said_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    binary = tmp_path / "log.csv"
    binary.write_bytes(b"\xff\xfe\x00\x80")
    for path in (tmp_path / "none.csv", binary):
        assert analyse_drift(path, io.StringIO()) == 2
        assert capsys.readouterr().err.count("\n") == 1


def test_a_log_too_short_for_anything_still_gives_one_line(tmp_path: Path) -> None:
    lines = analysed(write(tmp_path / "log.csv", [[0.0, 20.0]], "time_s,nozzle_c"))
    assert len(lines) == 1
    assert lines[0]["drift_c"] is None


@pytest.mark.parametrize(
    ("times", "kept"),
    [
        ([1, 2, 3, 4], [1, 2, 3, 4]),
        ([1, 2, 99, 3, 4], [1, 2, 3, 4]),
        ([1, 2, -7, 3, 4], [1, 2, 3, 4]),
        ([1, 1, 2, 2, 3], [1, 2, 3]),
        ([float("nan"), 1, float("inf"), 2], [1, 2]),
    ],
)
def test_rows_out_of_order_are_left_out(times: list[float], kept: list[float]) -> None:
    given = np.array(times, float)
    assert given[in_order(given)].tolist() == kept
