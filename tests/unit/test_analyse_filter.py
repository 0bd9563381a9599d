import io
import json
from pathlib import Path

import pytest

from filter_logs import Run
from steadybead_collector.analyse import analyse_filter

MEMBERS = ["time_s", "resistance", "growth_per_h", "remaining_s", "low_s", "high_s", "finding"]


def written(path: Path, rows: list[str], header: str = "time_s,dp_pa") -> Path:
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def analysed(path: Path, limit_pa: float | None = 600.0) -> tuple[int, list[dict[str, object]]]:
    out = io.StringIO()
    code = analyse_filter(path, limit_pa, out)
    return code, [json.loads(line) for line in out.getvalue().splitlines()]


def test_a_log_gives_one_line_per_update(tmp_path: Path) -> None:
    rows = [f"{s.time_s},{s.drop_pa}" for s in Run().samples()]
    code, lines = analysed(written(tmp_path / "log.csv", rows))
    assert code == 0
    assert all(list(line) == MEMBERS for line in lines)
    times = [line["time_s"] for line in lines]
    assert times == sorted(times)  # type: ignore[type-var]
    known = [line for line in lines if line["remaining_s"] is not None]
    assert len(known) > 50
    assert all(line["low_s"] <= line["remaining_s"] <= line["high_s"] for line in known)  # type: ignore[operator]


def test_flow_gaps_further_columns_and_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    rows = [f"x,{s.time_s},{s.drop_pa},{s.flow}" for s in Run().with_flow(until=0.5)]
    rows[10] = "x,,,"
    rows[20] = "x,3.0,nan,50"
    rows[30] = ""
    code, lines = analysed(
        written(tmp_path / "log.csv", rows, "\ufeffnote,time_s, dp_pa,flow_l_min")
    )
    assert code == 0
    assert lines[-1]["resistance"] is not None


def test_a_file_with_nothing_usable_is_read_and_says_so(tmp_path: Path) -> None:
    code, lines = analysed(written(tmp_path / "log.csv", ["1,", ",2"]))
    assert code == 0
    assert lines == [dict.fromkeys(MEMBERS) | {"finding": "no usable row"}]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "line 1: no column time_s and dp_pa"),
        ("time_s,pressure\n1,2\n", "no column dp_pa"),
        ("time_s,dp_pa\n1,2\n2,three\n", "line 3, dp_pa: 'three' is no number"),
    ],
)
def test_what_cannot_be_read_is_one_line_with_place_and_remedy(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, words: str
) -> None:
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    code, lines = analysed(path)
    assert (code, lines) == (2, [])
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert words in error


def test_a_missing_file_binary_and_a_bad_limit_are_misuse(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert analysed(tmp_path / "none.csv")[0] == 2
    binary = tmp_path / "b.csv"
    binary.write_bytes(b"\xff\xfe\x00")
    assert analysed(binary)[0] == 2
    good = written(tmp_path / "log.csv", ["1,2"])
    assert analysed(good, -5.0)[0] == 2
    assert capsys.readouterr().err.count("\n") == 3


def test_absurd_numbers_end_in_no_traceback(tmp_path: Path) -> None:
    rows = [f"{t},{p}" for t, p in zip(range(200), [1e308, -1e308, 1e-308, 5.0] * 50, strict=True)]
    rows += ["1e300,5", "-1e300,5", "inf,5"]
    code, lines = analysed(written(tmp_path / "log.csv", rows))
    assert code == 0
    assert lines
