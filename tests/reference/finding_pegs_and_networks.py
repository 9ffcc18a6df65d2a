"""What the public names make of the two-peg tests and level networks of other people, under the names they use."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pandas as pd
from scipy.constants import foot

import sitelevels as sl


def two_pegs(case: dict[str, Any]) -> sl.TwoPegTest:
    """The test of a case, in metres whatever the case is in."""
    given = case["inputs"]
    scale = foot if case["units"] == "ft" else 1.0
    setups = [
        sl.PegSetup(**{name: value * scale for name, value in given[which].items()}) for which in ("first", "second")
    ]
    options = {"limit": given["limit_m"] / given["peg_distance"]} if "limit_m" in given else {}
    return sl.two_peg_test(*setups, curvature=given.get("curvature_m_per_km2", 0.0) / 1000**2, **options)


def from_two_pegs(case: dict[str, Any]) -> dict[str, Any]:
    """Every quantity that a source prints of a two-peg test, in the unit of the case."""
    given, test = case["inputs"], two_pegs(case)
    scale = foot if case["units"] == "ft" else 1.0
    first, second = test.first, test.second
    assert second is not None
    reach = given.get("distance_AB", 0.0)
    return {
        "collimation_error_m_per_50m": 50 * test.collimation,
        "collimation_error_m_per_100m": 100 * test.collimation,
        "collimation_error_in_200m": 200 * test.collimation,
        "collimation_error_in_500m": 500 * test.collimation,
        "collimation_error_per_100": 100 * test.collimation,
        "error_per_100m": 100 * test.collimation,
        "error_m": given.get("peg_distance", 0.0) * abs(test.collimation),
        "corrected_reading_A_setup2": test.correct(second.a, second.to_a) / scale,
        "corrected_reading_B_setup2": test.correct(second.b, second.to_b) / scale,
        "corrected_reading_B_setup1": test.correct(first.b, first.to_b) / scale,
        "true_difference_B_minus_A_reading": -test.difference / scale,
        "true_difference_fall_A_to_B": -test.difference / scale,
        "apparent_differences": [first.difference / scale, second.difference / scale],
        "dH_mid": first.difference / scale,
        "dH_end": second.difference / scale,
        "rl_B": given.get("rl_A", 0.0) + test.difference / scale,
        # what is left of a correction when the collimation is taken out of it
        "curvature_refraction_correction": -test.correct(test.collimation * reach, reach),
    }


def network(case: dict[str, Any]) -> sl.NetworkAdjustment:
    given = case["inputs"]
    lines = pd.DataFrame(given["observations"])
    return sl.adjust_network(lines, given["known"], sd_per_root_km=given.get("sd_per_root_km"))


def from_network(case: dict[str, Any]) -> dict[str, Any]:
    """Every quantity that a source prints of an adjusted network."""
    adjusted = network(case)
    lines = [f"{start}-{end}" for start, end in adjusted.observations[["from", "to"]].itertuples(index=False)]
    levels, spread, one = adjusted.levels.to_dict(), adjusted.sd, adjusted.reference_sd
    assert spread is not None
    assert one is not None
    return {
        "heights": levels,
        "heights_book": levels,
        "sd_heights_mm": (1000 * spread).to_dict(),
        "residuals_mm": dict(zip(lines, 1000 * adjusted.residuals, strict=True)),
        "redundancy": adjusted.redundancy,
        "vtpv": adjusted.square_sum,
        "sum_squares_standardised_residuals": adjusted.square_sum,
        "s0": one,
        "error_factor": one,
        "a_priori_sd_m": dict(zip(lines, adjusted.weights**-0.5, strict=True)),
    }


def nearest_fraction(value: float) -> list[int]:
    return list(Fraction(value).limit_denominator(1000).as_integer_ratio())


def weighted_mean(case: dict[str, Any]) -> dict[str, Any]:
    """NW08: the sum of the weights from how sure the mean is, and each route times its weight, as fractions."""
    adjusted = network(case)
    assert adjusted.sd is not None
    assert adjusted.reference_sd is not None
    return {
        "sum_weights": nearest_fraction((adjusted.reference_sd / adjusted.sd["end"]) ** 2),
        "weighted_values": [nearest_fraction(value) for value in adjusted.weights * adjusted.observations["dh"]],
    }


PEGS_AND_NETWORKS: dict[str, Callable[[dict[str, Any]], dict[str, Any]]] = {
    **dict.fromkeys(("TP01", "TP02", "TP04", "TP05", "TP06", "TP08", "W18", "FLAG03"), from_two_pegs),
    **dict.fromkeys(("NW01", "NW02", "NW04", "NW06"), from_network),
    "NW08": weighted_mean,
}
