"""Units, spreading rate, dew point and corrosivity against published values."""

from decimal import Decimal

import psychrolib
import pytest

from treatments.records.rules.conditions import compute_dew_point_c
from treatments.records.rules.material import (
    compute_dry_film_um,
    compute_expected_volume_ml,
    compute_spreading_rate_m2_per_litre,
    compute_wet_film_um,
)
from treatments.rules.units import (
    KILOMETRES_PER,
    MILLILITRES_PER,
    DistanceUnit,
    VolumeUnit,
    convert_mil_to_um,
    convert_psi_to_kpa,
    convert_square_feet_to_m2,
)
from treatments.vehicles.rules.corrosivity import FIRST_YEAR_UPPER_UM, compute_metal_loss_um


def test_units() -> None:
    # US liquid quart: 57.75 cubic inches of 16.387064 mL; second hand, recomputed.
    assert MILLILITRES_PER[VolumeUnit.US_QUART] == Decimal("57.75") * Decimal("16.387064") == Decimal("946.352946")
    assert MILLILITRES_PER[VolumeUnit.US_GALLON] == 4 * MILLILITRES_PER[VolumeUnit.US_QUART]
    # psi in kPa, NIST SP 811; second hand.
    assert round(convert_psi_to_kpa(Decimal(1)), 12) == Decimal("6.894757293168")
    # The international mile, NIST SP 811; from memory.
    assert KILOMETRES_PER[DistanceUnit.MILE] == Decimal("1.609344")


def test_spreading_rate_and_films() -> None:
    # 65 % volume solids at 125 um: 5.2 m2 per litre; second hand, recomputed.
    assert compute_spreading_rate_m2_per_litre(Decimal(65), Decimal(125)) == Decimal("5.2")
    # 1604 x fraction / mil: 65 % at 5 mil is 208.5 ft2 per US gallon; second hand, recomputed (1604 is rounded).
    metric = compute_spreading_rate_m2_per_litre(Decimal(65), convert_mil_to_um(Decimal(5)))
    per_gallon = metric * MILLILITRES_PER[VolumeUnit.US_GALLON] / 1000 / convert_square_feet_to_m2(Decimal(1))
    assert abs(per_gallon - Decimal("208.5")) < Decimal("0.1")
    # 2.8 mil dry at 35 % solids is 8 mil wet; second hand, recomputed.
    assert compute_wet_film_um(Decimal("2.8"), Decimal(35)) == 8


def test_the_expected_quantity_gives_back_the_film() -> None:
    ml = compute_expected_volume_ml(Decimal("1.1"), Decimal(50), Decimal(40), Decimal("0.2"))
    assert round(compute_dry_film_um(ml, Decimal("1.1"), Decimal(40), Decimal("0.2")), 20) == 50
    with pytest.raises(ValueError, match="loss_fraction is 1"):
        compute_expected_volume_ml(Decimal(1), Decimal(50), Decimal(40), Decimal(1))


def test_dew_point_against_psychrolib() -> None:
    # psychrolib follows the ASHRAE Handbook's saturation formulas; the Magnus formula over water differs from them
    # by less than 0.1 degC in this range, and our result is rounded to 0.1 degC.
    psychrolib.SetUnitSystem(psychrolib.SI)
    for air in range(1, 46, 2):
        for humidity in range(30, 101, 5):
            theirs = psychrolib.GetTDewPointFromRelHum(float(air), humidity / 100)
            if theirs >= 0.01:  # below freezing psychrolib is over ice, Magnus here over water
                ours = compute_dew_point_c(Decimal(air), Decimal(humidity))
                assert abs(float(ours) - theirs) <= 0.15, (air, humidity)
    assert compute_dew_point_c(Decimal(20), Decimal(100)) == 20
    with pytest.raises(ValueError, match="humidity 0"):
        compute_dew_point_c(Decimal(20), Decimal(0))


def test_corrosivity() -> None:
    # ISO 9223, carbon steel, first year, um; second hand.
    assert list(FIRST_YEAR_UPPER_UM.values()) == [1.3, 25, 50, 80, 200, 700]
    # ISO 9224, b = 0.523, r = 50 um; recomputed values of the project's reference list.
    for years, loss in ((5, 116.0), (10, 166.7), (20, 239.6)):
        assert round(compute_metal_loss_um(50, years), 1) == loss
    # Beyond 20 years on the tangent: r (20^b + b 20^(b-1) (t - 20)).
    assert compute_metal_loss_um(50, 30) == pytest.approx(50 * (20**0.523 + 0.523 * 20**-0.477 * 10))
