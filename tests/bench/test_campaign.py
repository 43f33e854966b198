from __future__ import annotations

import math
from pathlib import Path

import pytest

from motorfit.bench.campaign import CampaignError, Fault, load_campaign
from motorfit.errors import MotorfitError
from motorfit.units import RPM

FULL = """
format = 1
title = "Coast"
[air]
temperature_c = 18.5
pressure_hpa = 1009.0
humidity_pct = 55
[bench]
name = "north stand"
[bench.controller]
resistance_ohm = 0.006
resistance_sd_ohm = 0.0006
current_limit_a = 60
[bench.channels.voltage]
gain_sd = 0.004
offset_sd = 0.02
[bench.channels.speed]
gain_sd = 0.0003
offset_sd = 3.0
[[motors]]
id = "heron-2807"
mass_g = 48.2
pole_pairs = 7
label_kv = 1300
unit = "a"
model = "heron"
[[propellers]]
id = "p7x35x3"
diameter_in = 7
pitch_in = 3.5
blades = 3
[[propellers]]
id = "p180"
diameter_mm = 180
pitch_mm = 90
blades = 2
inertia_kg_m2 = 1.6e-5
inertia_sd_kg_m2 = 2e-7
[[flywheels]]
id = "disc"
inertia_kg_m2 = 2.0e-4
[[runs]]
id = "ramp"
motor = "heron-2807"
kind = "ramp"
file = "logs/ramp.csv"
propeller = "p7x35x3"
[runs.air]
temperature_c = 25
[runs.columns]
current = { column = "I(mA)", unit = "mA" }
time = { column = 1, unit = "ms" }
[[runs]]
id = "wheel"
motor = "heron-2807"
kind = "spin-up"
file = "logs/wheel.csv"
flywheel = "disc"
speed_of = "flywheel"
current_limit_a = 30
[[measurements]]
motor = "heron-2807"
quantity = "winding_resistance"
value = 61
sd = 2
unit = "mohm"
temperature_c = 21
[[measurements]]
motor = "heron-2807"
quantity = "kv"
value = 136.0
sd = 1.0
unit = "rad/s/V"
[[measurements]]
propeller = "p7x35x3"
quantity = "prop_inertia"
value = 160
sd = 5
unit = "g cm^2"
[priors.kv]
center = 1250
factor = 1.2
[priors.winding_resistance]
center = 60
sd = 6
unit = "mohm"
[priors.thrust_reynolds_exponent]
center = 0.1
sd = 0.02
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "logs").mkdir()
    for name in ("ramp", "wheel"):
        (tmp_path / "logs" / f"{name}.csv").write_text(f"time [s],speed [rpm]\n0,1\n1,2\n# {name}\n")
    return tmp_path


def load(folder: Path, text: str):  # type: ignore[no-untyped-def]
    path = folder / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    return load_campaign(path)


def faults(folder: Path, text: str) -> dict[str, Fault]:
    with pytest.raises(CampaignError) as caught:
        load(folder, text)
    assert "Traceback" not in str(caught.value)
    for fault in caught.value.faults:
        assert fault.path in str(caught.value)
        assert fault.allowed and fault.remedy
    return {fault.path: fault for fault in caught.value.faults}


def test_a_whole_file(folder: Path) -> None:
    campaign = load(folder, FULL)
    assert campaign.title == "Coast"
    assert campaign.propeller("p7x35x3").diameter_m == pytest.approx(0.1778)
    assert campaign.propeller("p180").diameter_m == pytest.approx(0.18)
    assert campaign.propeller("p180").pitch_m == pytest.approx(0.09)
    assert campaign.propeller("p180").reference_rev_per_s == 250.0
    ramp, wheel = campaign.runs
    assert campaign.air_of(ramp).temperature_c == 25 and campaign.air_of(ramp).pressure_hpa == 1009.0
    assert campaign.air_of(wheel) == campaign.air
    assert ramp.columns["time"].column == 1 and ramp.columns["current"].unit == "mA"
    assert wheel.current_limit_a == 30 and wheel.speed_of == "flywheel"
    assert ramp.file == folder / "logs" / "ramp.csv"
    assert len(campaign.sha256) == 64


def test_units_of_measurements_priors_and_offsets(folder: Path) -> None:
    campaign = load(folder, FULL)
    resistance, kv, inertia = campaign.measurements
    assert (resistance.value, resistance.sd) == pytest.approx((0.061, 0.002))
    assert kv.value == pytest.approx(136.0 * 60 / (2 * math.pi))
    assert (inertia.value, inertia.sd) == pytest.approx((1.6e-5, 5e-7))
    assert campaign.priors["kv"].log_sd == pytest.approx(math.log(1.2))
    assert campaign.priors["winding_resistance"].center == pytest.approx(0.06)
    assert campaign.priors["winding_resistance"].sd == pytest.approx(0.006)
    assert campaign.priors["winding_resistance"].log_sd == pytest.approx(0.0998, abs=1e-4)
    assert campaign.bench.channels["speed"].offset_sd == pytest.approx(3.0 * RPM)


def test_frozen(folder: Path) -> None:
    campaign = load(folder, FULL)
    with pytest.raises(ValueError, match="frozen"):
        campaign.title = "other"


def test_all_faults_in_one_go(folder: Path) -> None:
    broken = (
        FULL.replace('propeller = "p7x35x3"\n[runs.air]', 'propeller = "p7x35x2"\n[runs.air]')
        .replace('file = "logs/wheel.csv"', 'file = "logs/wheels.csv"')
        .replace("mass_g = 48.2", 'mass_g = "48.2"')
        .replace("pole_pairs = 7", "pole_pair = 7")
        .replace('kind = "spin-up"', 'kind = "spinup"')
        .replace("pressure_hpa = 1009.0", "pressure_hpa = 100900.0")
        .replace('unit = "mohm"\ntemperature_c', 'unit = "mm"\ntemperature_c')
        .replace('unit = "mA"', 'unit = "mV"')
    )
    found = faults(folder, broken)
    assert set(found) == {
        "runs[0].propeller",
        "runs[1].file",
        "motors[0].mass_g",
        "motors[0].pole_pair",
        "runs[1].kind",
        "air.pressure_hpa",
        "measurements[0].unit",
        "runs[0].columns.current.unit",
    }
    assert found["runs[0].propeller"].value == '"p7x35x2"'
    assert found["runs[0].propeller"].allowed == "p7x35x3, p180"
    assert found["runs[0].propeller"].remedy == 'Did you mean "p7x35x3"?'
    assert found["runs[1].file"].remedy == 'Did you mean "wheel.csv"?'
    assert "quotes" in found["motors[0].mass_g"].remedy
    assert found["motors[0].pole_pair"].remedy == 'Did you mean "pole_pairs"?'
    assert found["runs[1].kind"].remedy == 'Did you mean "spin-up"?'
    assert "1100" in found["air.pressure_hpa"].allowed and "hPa" in found["air.pressure_hpa"].remedy
    assert "ohm" in found["measurements[0].unit"].allowed
    assert found["runs[0].columns.current.unit"].allowed == "A, mA"


@pytest.mark.parametrize(
    ("old", "new", "path", "words"),
    [
        ("format = 1", "format = 2", "format", "1"),
        ("format = 1", "", "format", "missing"),
        ("format = 1", "format = 1\nmotor = 3", "motor", 'Did you mean "motors"?'),
        ('id = "disc"', 'id = "../disc"', "flywheels[0].id", "letters, digits"),
        ('id = "disc"', 'id = ".disc"', "flywheels[0].id", "first"),
        ('id = "p180"', 'id = "p7x35x3"', "propellers[1].id", "propellers[0]"),
        (
            "pitch_mm = 90",
            "pitch_mm = 90\npitch_in = 3",
            "propellers[1]",
            "exactly one of pitch_in and pitch_mm",
        ),
        ("pitch_mm = 90", "", "propellers[1]", "neither is given"),
        ("inertia_kg_m2 = 1.6e-5\n", "", "propellers[1].inertia_kg_m2", "inertia_sd_kg_m2"),
        ("resistance_ohm = 0.006\n", "", "bench.controller.resistance_ohm", "resistance_sd_ohm"),
        ("[bench.channels.speed]", "[bench.channels.sped]", "bench.channels.sped", 'Did you mean "speed"?'),
        ("[bench.channels.speed]", "[bench.channels.throttle]", "bench.channels.throttle", "voltage"),
        ("gain_sd = 0.004", "gain = 0.004", "bench.channels.voltage.gain", 'Did you mean "gain_sd"?'),
        ("gain_sd = 0.004", "gain_sd = 4", "bench.channels.voltage.gain_sd", "at most 1"),
        ("mass_g = 48.2", "mass_g = nan", "motors[0].mass_g", "finite"),
        ("mass_g = 48.2", "mass_g = -1", "motors[0].mass_g", "above 0"),
        ("pole_pairs = 7", "pole_pairs = 7.5", "motors[0].pole_pairs", "whole number"),
        ("pole_pairs = 7", "pole_pairs = true", "motors[0].pole_pairs", "whole number"),
        (
            'motor = "heron-2807"\nkind = "ramp"',
            'motor = "hern-2807"\nkind = "ramp"',
            "runs[0].motor",
            "heron-2807",
        ),
        ('motor = "heron-2807"\nkind = "ramp"', 'kind = "ramp"', "runs[0].motor", "missing"),
        ('kind = "ramp"', 'kind = "no-load"', "runs[0].propeller", "neither"),
        ('propeller = "p7x35x3"\n[runs.air]', "[runs.air]", "runs[0].propeller", "no-load"),
        ('flywheel = "disc"\n', "", "runs[1].speed_of", "flywheel"),
        ('flywheel = "disc"', 'flywheel = "disc"\npropeller = "p180"', "runs[1].flywheel", "not both"),
        ('file = "logs/wheel.csv"', 'file = "logs"', "runs[1].file", "folder"),
        ('file = "logs/wheel.csv"', 'file = "logs/wheel.xls"', "runs[1].file", ".xlsx"),
        ('file = "logs/wheel.csv"', 'file = "logs/ramp.csv"', "runs[1].file", "runs[0]"),
        ('file = "logs/wheel.csv"', "file = 3", "runs[1].file", "path"),
        ('column = "I(mA)", unit', "column = 0, unit", "runs[0].columns.current.column", "at least 1"),
        ('column = "I(mA)", unit', "column = 1.5, unit", "runs[0].columns.current.column", "whole number"),
        (
            'current = { column = "I(mA)", unit = "mA" }',
            "curent = { column = 2 }",
            "runs[0].columns.curent",
            '"current"',
        ),
        ('unit = "mA"', 'unit = "furlong"', "runs[0].columns.current.unit", "does not measure"),
        ("temperature_c = 25", "temperature = 25", "runs[0].air.temperature", "temperature_c"),
        ("[[measurements]]\npropeller", "[[measurements]]\nflywheel", "measurements[2].flywheel", "disc"),
        ('quantity = "kv"', 'quantity = "kw"', "measurements[1].quantity", 'Did you mean "kv"?'),
        ('sd = 1.0\nunit = "rad/s/V"', "sd = 1.0", "measurements[1].unit", "rpm/V"),
        ("value = 136.0", "value = -136.0", "measurements[1].value", "above 0"),
        ("sd = 1.0", "sd = 0", "measurements[1].sd", "above 0"),
        ("[priors.kv]", "[priors.kvv]", "priors.kvv", 'Did you mean "kv"?'),
        ("factor = 1.2", "factor = 0.8", "priors.kv.factor", "above 1"),
        ("factor = 1.2", "factor = 1.2\nsd = 3", "priors.kv", "exactly one of factor and sd"),
        (
            "center = 0.1\nsd = 0.02",
            "center = 0.1\nfactor = 2",
            "priors.thrust_reynolds_exponent.factor",
            "either sign",
        ),
        ("[[flywheels]]", "[flywheels]", "flywheels", "two brackets"),
    ],
)
def test_each_fault(folder: Path, old: str, new: str, path: str, words: str) -> None:
    assert old in FULL
    found = faults(folder, FULL.replace(old, new, 1))
    assert path in found
    assert words in str(found[path])


def test_one_slip_gives_one_fault(folder: Path) -> None:
    """A part with a fault is still declared: references to it are no faults of their own."""
    assert list(faults(folder, FULL.replace("blades = 3", "blades = 0"))) == ["propellers[0].blades"]


def test_air_is_needed_for_a_propeller_only(folder: Path) -> None:
    air = FULL[FULL.index("[air]") : FULL.index("[bench]")]
    without = FULL.replace(air, "").replace("[runs.air]\ntemperature_c = 25\n", "")
    assert "air" in faults(folder, without)
    bare = without.replace('kind = "ramp"', 'kind = "no-load"').replace(
        'propeller = "p7x35x3"\n[runs.columns]', "[runs.columns]"
    )
    campaign = load(folder, bare)
    assert any("[air] is not given" in a for a in campaign.assumptions)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"format = ", "end of document"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b"format = 1\nformat = 1\n", "line 2"),
        (b"", "format"),
    ],
)
def test_not_toml(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "c.toml"
    path.write_bytes(content)
    with pytest.raises(CampaignError, match=words):
        load_campaign(path)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "x.toml").write_text("format = 1")
    with pytest.raises(MotorfitError, match=r"folder; give a file in it: x\.toml"):
        load_campaign(tmp_path)
    with pytest.raises(MotorfitError, match="Check the path"):
        load_campaign(tmp_path / "none.toml")


def test_byte_order_mark_and_windows_lines(folder: Path) -> None:
    path = folder / "campaign.toml"
    path.write_bytes(b"\xef\xbb\xbf" + FULL.replace("\n", "\r\n").encode())
    assert load_campaign(path).title == "Coast"
