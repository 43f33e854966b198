from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from motorfit.answers.propeller_stated import PropellerFileError, read_propeller, stated_propeller
from motorfit.answers.propellers import propeller_draws
from tests.answers.standin import make_fit

GEOMETRY: dict[str, Any] = {"diameter_in": 7, "pitch_in": 4.5}
MEASURED: dict[str, Any] = {
    **GEOMETRY,
    "name": "mine",
    "mass_g": 8.0,
    "thrust_coefficient": 0.120,
    "thrust_coefficient_sd": 0.003,
    "power_coefficient": 0.060,
    "power_coefficient_sd": 0.002,
    "reference_rpm": 9000,
}


def test_stated_figures_are_drawn_as_stated() -> None:
    made = propeller_draws(make_fit(), stated_propeller(MEASURED))
    assert (made.name, made.origin, made.reference_rev_per_s) == ("mine", "stated", 150.0)
    assert np.mean(made.thrust) == pytest.approx(0.120, rel=0.005)
    assert np.std(made.thrust) == pytest.approx(0.003, rel=0.1)
    assert np.mean(made.torque) == pytest.approx(0.060 / (2 * math.pi), rel=0.005)
    assert np.std(made.torque) == pytest.approx(0.002 / (2 * math.pi), rel=0.1)
    assert made.inertia is not None
    assert np.median(made.inertia) == pytest.approx(0.18 * 0.008 * (3.5 * 0.0254) ** 2, rel=0.05)


def test_geometry_and_mass_alone_are_a_geometry() -> None:
    made = propeller_draws(make_fit(), stated_propeller({**GEOMETRY, "name": "7x4.5x2", "mass_g": 8.0}))
    plain = propeller_draws(make_fit(), "7x4.5x2")
    assert made.origin == "geometry"
    np.testing.assert_array_equal(made.thrust, plain.thrust)
    assert made.inertia is not None and plain.inertia is not None
    assert np.std(np.log(made.inertia)) < np.std(np.log(plain.inertia))


def test_a_thrust_coefficient_alone_narrows_the_torque() -> None:
    only = {k: v for k, v in MEASURED.items() if not k.startswith("power")}
    made, plain = propeller_draws(make_fit(), stated_propeller(only)), propeller_draws(make_fit(), "7x4.5x2")
    assert np.std(np.log(made.torque)) < np.std(np.log(plain.torque))


def test_no_draw_passes_a_figure_of_merit_of_one() -> None:
    daring = {**MEASURED, "power_coefficient": 0.037, "power_coefficient_sd": 0.005}
    made = propeller_draws(make_fit(), stated_propeller(daring))
    assert (math.sqrt(2 / math.pi) * made.thrust**1.5 / (2 * math.pi * made.torque)).max() < 1.0


def test_the_same_description_has_the_same_draws() -> None:
    first, second = (propeller_draws(make_fit(), stated_propeller(MEASURED)) for _ in range(2))
    np.testing.assert_array_equal(first.thrust, second.thrust)


def test_all_faults_come_at_once(tmp_path: Path) -> None:
    path = tmp_path / "prop.toml"
    path.write_text('diameter_in = 90\npitch_in = "x"\nblades = 0\ncolour = "red"\n', encoding="utf-8")
    with pytest.raises(PropellerFileError) as error:
        read_propeller(path)
    assert len(error.value.faults) == 4
    for part in ("diameter_in = 90", "pitch_in = 'x'", "blades = 0", "colour", "no such key"):
        assert part in str(error.value)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"pitch_mm": 100}, "exactly one of pitch_in and pitch_mm"),
        ({"diameter_in": None}, "exactly one of diameter_in and diameter_mm"),
        ({"thrust_coefficient_sd": None}, "thrust_coefficient and thrust_coefficient_sd belong together"),
        ({"reference_rpm": None}, "reference_rpm is missing"),
        ({"thrust_coefficient_sd": 0.1}, "above half of it"),
        ({"power_coefficient": 0.0095}, "figure of merit"),
        ({"torque_coefficient": 0.01, "torque_coefficient_sd": 0.001}, "not both"),
        ({"pitch_in": 30}, "pitch over diameter"),
    ],
)
def test_faults_across_keys(change: dict[str, Any], text: str) -> None:
    with pytest.raises(PropellerFileError, match=text):
        stated_propeller({**MEASURED, **change})


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(PropellerFileError, match="cannot be read"):
        read_propeller(tmp_path / "none.toml")
    broken = tmp_path / "broken.toml"
    broken.write_text("diameter_in 7", encoding="utf-8")
    with pytest.raises(PropellerFileError, match="not TOML"):
        read_propeller(broken)
    broken.write_bytes(b"name = '\xff'")
    with pytest.raises(PropellerFileError, match="not UTF-8"):
        read_propeller(broken)


def test_a_file_is_named_after_itself(tmp_path: Path) -> None:
    path = tmp_path / "quiet-7.toml"
    path.write_text("diameter_in = 7\npitch_mm = 110\nblades = 3\n", encoding="utf-8")
    assert read_propeller(path).name == "quiet-7"
