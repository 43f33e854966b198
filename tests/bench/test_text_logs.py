from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motorfit.bench.findings import LogError
from motorfit.bench.textlog import read_text
from motorfit.units import RPM
from tests.bench.helpers import HEADER, kinds, log_with, rows

CLEAN = HEADER + "".join(rows())


def finding(log, kind: str):  # type: ignore[no-untyped-def]
    (found,) = [f for f in log.findings if f.kind == kind]
    return found


def errors(folder: Path, content: str | bytes, **more: str) -> str:
    with pytest.raises(LogError) as caught:
        log_with(folder, content, **more)
    assert all(f.severity == "error" and f.remedy for f in caught.value.findings)
    return str(caught.value)


def test_a_clean_log_has_no_findings(tmp_path: Path) -> None:
    log = log_with(tmp_path, CLEAN)
    assert log.findings == ()
    assert log.time_s is not None
    np.testing.assert_allclose(log.time_s, np.arange(30) * 0.01)
    np.testing.assert_allclose(log.channels["speed"][:2], np.array([2000, 2100]) * RPM)
    np.testing.assert_allclose(log.channels["throttle"][:2], [0.10, 0.11])
    np.testing.assert_allclose(log.channels["thrust"][1], 0.6)
    assert set(log.channels) == {"throttle", "voltage", "current", "speed", "thrust", "torque"}


def _semicolons(text: str) -> str:
    return text.replace(",", ";").replace(".", ",")


@pytest.mark.parametrize(
    "content",
    [
        CLEAN.encode("utf-8-sig"),
        CLEAN.replace("\n", "\r\n").encode(),
        CLEAN.replace("\n", "\r").encode(),
        CLEAN.encode("utf-16"),
        CLEAN.replace(",", "\t").encode(),
        CLEAN.replace(",", " , ").encode(),
        _semicolons(CLEAN).encode(),
        _semicolons(CLEAN).replace(";", "\t").encode(),
        CLEAN.replace(",", ";").encode(),
        CLEAN.replace(",", "  ").encode(),
        CLEAN.replace("\n", ",\n").encode(),
        CLEAN.replace(HEADER, HEADER.replace("\n", ",\n")).encode(),
        CLEAN.rstrip("\n").encode(),
        CLEAN.replace(HEADER, '"' + HEADER.strip().replace(",", '","') + '"\n').encode(),
        "\n".join(",".join(f'"{c}"' for c in line.split(",")) for line in CLEAN.split("\n")[:-1]).encode(),
        CLEAN.replace("[", "(").replace("]", ")").encode(),
        CLEAN.replace(
            HEADER, "time_s,throttle_pct,voltage_v,current_a,speed_rpm,thrust_n,torque_nm\n"
        ).encode(),
        CLEAN.replace(HEADER, "Time_s,PWM (%),Bus Voltage [V],i_bus (A),RPM,Thrust N,Torque_N_m\n").encode(),
        CLEAN.replace(
            HEADER, "time,throttle,voltage,current,speed,thrust,torque\ns,%,V,A,rpm,N,N m\n"
        ).encode(),
        CLEAN.replace(
            HEADER, "time,throttle,voltage,current,speed,thrust,torque\n[s],[%],[V],[A],[rpm],[N],[N m]\n"
        ).encode(),
    ],
    ids=lambda content: content[:34].decode("latin-1"),
)
def test_every_way_of_writing_the_same_log(tmp_path: Path, content: bytes) -> None:
    plain, log = log_with(tmp_path, CLEAN), log_with(tmp_path, content)
    assert log.time_s is not None and plain.time_s is not None
    assert not [f for f in log.findings if f.severity != "note"]
    np.testing.assert_allclose(log.time_s, plain.time_s, atol=1e-12)
    assert set(log.channels) == set(plain.channels)
    for name, values in plain.channels.items():
        np.testing.assert_allclose(log.channels[name], values, rtol=1e-12, err_msg=name)


def test_gzip_and_damaged_gzip(tmp_path: Path) -> None:
    import gzip

    packed = gzip.compress(CLEAN.encode())
    assert len(log_with(tmp_path, packed, file="a.csv.gz").channels["speed"]) == 30
    assert "gzip" in errors(tmp_path, packed[:-20], file="a.csv.gz")


def test_header_in_a_comment_and_preamble(tmp_path: Path) -> None:
    log = log_with(tmp_path, "Stand 4, spring\nsensor: hall\n# " + CLEAN)
    assert kinds(log) == ["preamble"]
    assert finding(log, "preamble").rows == (1, 2)
    assert "thrust" in log.channels


def test_comments_blank_lines_repeated_header_and_text(tmp_path: Path) -> None:
    r = rows()
    content = HEADER + "".join(r[:5]) + "# paused\n" + "".join(r[5:8]) + "\n\n" + "".join(r[8:12]) + HEADER
    content += "".join(r[12:]) + "end of log\n"
    log = log_with(tmp_path, content)
    assert kinds(log) == ["blank-lines", "comment-lines", "repeated-header", "text-line"]
    assert finding(log, "comment-lines").rows == (7,)
    assert finding(log, "blank-lines").rows == (11, 12)
    assert finding(log, "repeated-header").rows == (17,)
    assert finding(log, "text-line").rows == (36,)
    np.testing.assert_allclose(log.channels["thrust"], log_with(tmp_path, CLEAN).channels["thrust"])


@pytest.mark.parametrize("cell", ["", " ", "NaN", "nan", "NA", "n/a", "null", "-", "--"])
def test_missing_cells_are_nan(tmp_path: Path, cell: str) -> None:
    r = rows()
    cells = r[3].split(",")
    cells[5] = cell
    log = log_with(tmp_path, HEADER + "".join([*r[:3], ",".join(cells), *r[4:]]))
    assert np.isnan(log.channels["thrust"][3]) and np.isfinite(log.channels["thrust"]).sum() == 29
    assert finding(log, "missing-cells").rows == (5,)
    assert finding(log, "missing-cells").channel == "thrust"


def test_missing_first_and_last_cells(tmp_path: Path) -> None:
    r = rows()
    first, last = "," + r[3].partition(",")[2], r[6].rpartition(",")[0] + ",\n"
    log = log_with(tmp_path, HEADER + "".join([*r[:3], first, *r[4:6], last, *r[7:]]))
    assert finding(log, "no-time").rows == (5,)
    assert finding(log, "missing-cells").rows == (8,)
    assert len(log.channels["torque"]) == 29 and np.isnan(log.channels["torque"][5])


@pytest.mark.parametrize("cell", ["OL", "12,5,", "1.2.3", "0x1F", "1e", "--5", "inf"])
def test_cells_that_are_no_number(tmp_path: Path, cell: str) -> None:
    r = rows()
    cells = r[3].strip().split(",")
    cells[5] = f'"{cell}"'
    log = log_with(tmp_path, HEADER + "".join([*r[:3], ",".join(cells) + "\n", *r[4:]]))
    found = finding(log, "not-a-number")
    assert found.rows == (5,) and found.channel == "thrust" and cell in found.message
    assert np.isnan(log.channels["thrust"][3])


def test_last_line_cut_short(tmp_path: Path) -> None:
    for cut in (5, 20, 40):
        log = log_with(tmp_path, CLEAN[:-cut])
        assert finding(log, "cut-last-line").rows == (31,)
        assert len(log.channels["speed"]) == 29


def test_last_number_cut_short(tmp_path: Path) -> None:
    """The last line has all its cells, the last of them with fewer digits than any before."""
    log = log_with(tmp_path, CLEAN[:-3])
    assert finding(log, "cut-last-line").rows == (31,)


def test_first_line_cut_short_without_header(tmp_path: Path) -> None:
    columns = """propeller = "p7x35x3"
[runs.columns]
time = { column = 1, unit = "s" }
voltage = { column = 3, unit = "V" }
speed = { column = 5, unit = "rpm" }
"""
    log = log_with(tmp_path, "23.4,1.1,2000\n" + "".join(rows()), more=columns)
    assert finding(log, "cut-first-line").rows == (1,)
    assert set(log.channels) == {"voltage", "speed"} and len(log.channels["speed"]) == 30


def test_rows_of_other_widths(tmp_path: Path) -> None:
    r = rows()
    short, long, tail = r[3].rsplit(",", 2)[0] + "\n", r[6].strip() + ",7\n", r[9].strip() + ",ok\n"
    log = log_with(tmp_path, HEADER + "".join([*r[:3], short, *r[4:6], long, *r[7:9], tail, *r[10:]]))
    assert finding(log, "short-row").rows == (5,)
    assert finding(log, "long-row").rows == (8,)
    assert finding(log, "trailing-text").rows == (11,)
    assert len(log.channels["speed"]) == 28


def test_decimal_commas_between_commas_are_refused(tmp_path: Path) -> None:
    body = "".join(",".join(c.replace(".", ",") for c in line.split(",")) for line in rows())
    assert "[runs.columns]" in errors(tmp_path, HEADER + body)


def test_mixed_decimal_signs_are_refused(tmp_path: Path) -> None:
    lines = _semicolons(CLEAN).splitlines(keepends=True)
    lines[4] = lines[4].replace(",", ".")
    message = errors(tmp_path, "".join(lines))
    assert "row 5" in message and "decimal" in message


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\n\n", "empty"),
        (b"nothing here\nat all\n", "no line holds two numbers"),
        (b"\x89PNG\r\n\x1a\n\x00\x00IHDR", "not text"),
        ("".join(rows()).encode(), "no header"),
        (b"a,b,c\n1,2,3\n4,5,6\n", "no column's name is known: a, b, c"),
        (b"speed [rpm],thrust [N]\n1,2\n3,4\n", "needs a time column"),
        (b"time [s],speed [rpm],thrust\n0,2,3\n0.1,4,3\n", 'column "thrust" does not say its unit'),
        (b"time [s],speed [V]\n0,2\n0.1,4\n", "does not measure"),
        (b"time [s],speed [zork]\n0,2\n0.1,4\n", "'zork' is not known"),
        (b"time,speed [rpm]\n0,2\n1000,4\n2000,5\n", 'column "time" does not say its unit'),
        (b"time [s],speed [rpm],rotor speed [rpm]\n0,2,2\n0.1,4,4\n", "two columns"),
        (b"time [s],throttle [1],speed [rpm]\n0,20,2\n0.1,50,4\n", "throttle goes from 20 to 50"),
        (b"time [s],throttle,speed [rpm]\n0,-200,2\n0.1,450,4\n", 'column "throttle" does not say its unit'),
        (b"time [s],speed [rpm]\n0.1,2\n0.1,4\n", "time does not move"),
        (b"time [s],speed [rpm]\n0.1,2\n,4\n", "fewer than two rows"),
    ],
)
def test_logs_that_cannot_be_used(tmp_path: Path, content: bytes, words: str) -> None:
    assert words in errors(tmp_path, content)


def test_a_column_that_is_not_there(tmp_path: Path) -> None:
    more = (
        'propeller = "p7x35x3"\n[runs.columns]\ncurrent = { column = "curent [A]" }\nspeed = { column = 9 }'
    )
    message = errors(tmp_path, CLEAN, more=more)
    assert 'Did you mean "current [A]"?' in message and "1 to 7" in message


def test_all_logs_report_together(tmp_path: Path) -> None:
    from motorfit.bench.logs import read_runs, try_read_runs
    from tests.bench.helpers import CAMPAIGN, campaign_with

    (tmp_path / "b.csv").write_text("")
    second = '\n[[runs]]\nid = "b"\nmotor = "heron"\nkind = "ramp"\nfile = "b.csv"\npropeller = "p7x35x3"\n'
    campaign = campaign_with(tmp_path, "nothing\n", base=CAMPAIGN + second)
    with pytest.raises(LogError) as caught:
        read_runs(campaign)
    assert [f.run for f in caught.value.findings] == ["a", "b"]
    logs, findings = try_read_runs(campaign)
    assert logs == () and len(findings) == 2


def test_columns_of_the_campaign_come_first(tmp_path: Path) -> None:
    header = "t,x,U,I(mA),n,F,M\n"
    more = """propeller = "p7x35x3"
[runs.columns]
time = { column = "t", unit = "s" }
throttle = { column = 2, unit = "%" }
voltage = { column = "U", unit = "V" }
current = { column = "I(mA)" }
speed = { column = "n", unit = "rpm" }
thrust = { column = "F", unit = "N", sign = -1 }
torque = { column = "M", unit = "N m" }
"""
    log = log_with(tmp_path, header + "".join(rows()), more=more)
    assert log.findings == ()
    np.testing.assert_allclose(log.channels["current"][0], 1e-3)
    np.testing.assert_allclose(log.channels["thrust"][0], -0.5)


def test_erpm_and_flywheel_speed(tmp_path: Path) -> None:
    text = "time [s],speed [eRPM]\n" + "".join(f"{0.1 * i:.1f},{1400 * i}\n" for i in range(5))
    log = log_with(tmp_path, text, kind="no-load", more="")
    np.testing.assert_allclose(log.channels["speed"][1], 200 * RPM)
    from tests.bench.helpers import CAMPAIGN

    base = CAMPAIGN.replace("pole_pairs = 7\n", "")
    assert "add pole_pairs" in errors(tmp_path, text, kind="no-load", more="", base=base).replace(
        "Add", "add"
    )
    wheel = log_with(
        tmp_path,
        text.replace("eRPM", "rpm"),
        kind="spin-up",
        more='flywheel = "disc"\nspeed_of = "flywheel"',
    )
    np.testing.assert_allclose(wheel.channels["speed"][1], 5600 * RPM)
    motor = log_with(tmp_path, text.replace("eRPM", "rpm"), kind="spin-up", more='flywheel = "disc"')
    np.testing.assert_allclose(motor.channels["speed"][1], 1400 * RPM)


def test_assumed_units_are_said(tmp_path: Path) -> None:
    content = CLEAN.replace(HEADER, "time,throttle,voltage,current,speed,thrust [gf],torque [mN m]\n")
    log = log_with(tmp_path, content)
    assert sorted(f.channel or "" for f in log.findings) == [
        "current",
        "speed",
        "throttle",
        "time",
        "voltage",
    ]
    assert {f.kind for f in log.findings} == {"assumed-unit"}
    np.testing.assert_allclose(log.channels["throttle"][0], 0.1)
    np.testing.assert_allclose(log.channels["thrust"][0], 0.5 * 9.80665e-3)
    np.testing.assert_allclose(log.channels["torque"][0], 1e-5)


def test_throttle_pulses_and_what_is_beyond(tmp_path: Path) -> None:
    text = "throttle [us],speed [rpm]\n990,0\n1000,0\n1500,5000\n2000,9000\n"
    log = log_with(tmp_path, text, kind="table")
    assert log.time_s is None
    np.testing.assert_allclose(log.channels["throttle"], [0, 0, 0.5, 1.0])
    assert finding(log, "throttle-beyond").rows == (2,)


def test_left_out_columns_are_named(tmp_path: Path) -> None:
    text = "".join(line.strip() + f",{i}\n" for i, line in enumerate([HEADER.strip(), *rows()]))
    log = log_with(tmp_path, text.replace(",0\n", ",vibration [g]\n", 1))
    assert "vibration [g]" in finding(log, "columns-left-out").message


def test_a_channel_without_any_number(tmp_path: Path) -> None:
    text = HEADER + "".join(line.rsplit(",", 1)[0] + ",\n" for line in rows())
    log = log_with(tmp_path, text)
    assert "torque" not in log.channels
    assert finding(log, "empty-channel").channel == "torque"


def test_thousands_of_rows_with_one_odd_line_keep_their_order(tmp_path: Path) -> None:
    r = rows(5000, 0.001)
    r[2500] = "# note\n"
    log = log_with(tmp_path, HEADER + "".join(r))
    assert log.time_s is not None and len(log.time_s) == 4999
    assert finding(log, "comment-lines").rows == (2502,)
    assert np.all(np.diff(log.channels["thrust"]) > 0)


def test_large_logs_read_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    import motorfit.bench.bulk as bulk

    odd = CLEAN.replace("\n0.15", "\n# a remark\n\n0.15", 1).replace("2000", "OL", 1)
    for text in (
        CLEAN,
        CLEAN.replace(",", " "),
        _semicolons(CLEAN),
        CLEAN.replace("0.5000", "", 1),
        odd,
        odd[:-3],
        CLEAN.replace("2500", "inf", 1),
        CLEAN.replace("2500", "1,2", 1),
    ):
        small = read_text(text.encode())
        for name, size in (("LARGE", 10), ("PIECE", 300), ("_SMALLEST", 120), ("TAIL", 60)):
            monkeypatch.setattr(bulk, name, size)
        large = read_text(text.encode())
        monkeypatch.undo()
        np.testing.assert_array_equal(small.numbers, large.numbers)
        np.testing.assert_array_equal(small.row_numbers, large.row_numbers)
        assert small.names == large.names and small.texts == large.texts
        assert small.remarks == large.remarks


@given(
    st.lists(
        st.lists(st.floats(-1e6, 1e6, allow_nan=False), min_size=3, max_size=3), min_size=2, max_size=30
    ),
    st.sampled_from([",", ";", "\t", " "]),
)
def test_numbers_survive_to_the_last_bit(values: list[list[float]], delimiter: str) -> None:
    text = "".join(delimiter.join(repr(v) for v in row) + "\n" for row in values)
    table = read_text(text.encode())
    assert table.numbers.tolist() == values
    assert table.row_numbers.tolist() == list(range(1, len(values) + 1))


_LOGLIKE = st.text(alphabet='0123456789.,;\t -+eEna\n\r#[]()"%xVs:', max_size=200).map(str.encode)


@settings(max_examples=300)
@given(st.one_of(st.binary(max_size=300), _LOGLIKE))
def test_any_bytes_are_read_or_refused(content: bytes) -> None:
    from motorfit.bench.textlog import UnreadableLogError

    try:
        table = read_text(content)
    except UnreadableLogError as error:
        assert error.remark.remedy
    else:
        assert table.numbers.shape[0] == table.row_numbers.shape[0]


@given(st.integers(0, len(CLEAN) - 1))
def test_a_log_cut_anywhere_is_read_or_refused(cut: int) -> None:
    from motorfit.bench.textlog import UnreadableLogError

    try:
        table = read_text(CLEAN[:cut].encode())
    except UnreadableLogError:
        assert CLEAN[:cut].count("\n") <= 1
    else:
        whole = read_text(CLEAN.encode()).numbers
        complete = CLEAN[:cut].count("\n") - 1
        if complete < 1:
            return
        np.testing.assert_array_equal(table.numbers[:complete], whole[:complete])


def test_a_log_whose_known_columns_are_words_is_refused(tmp_path: Path) -> None:
    body = "".join("0.1,0.2,OL\n" for _ in range(30))
    assert "no column of a known name holds a number" in errors(
        tmp_path, "time [s],angle,speed [rpm]\n" + body
    )
