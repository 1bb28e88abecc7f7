import numpy as np
import pytest
from scipy.special import ndtri, stdtrit

from sidecar.advice.quantiles import normal, student

CHANCES = (np.arange(400) + 0.5) / 400


def test_normal_quantiles_are_those_of_scipy():
    np.testing.assert_allclose(normal(CHANCES.reshape(20, 20)), ndtri(CHANCES).reshape(20, 20), rtol=1e-12)


@pytest.mark.parametrize("freedom", [1, 1.5, 2, 2.37, 3, 5, 17.2, 100, 1_234.5, 100_000])
def test_student_quantiles_are_those_of_scipy(freedom):
    np.testing.assert_allclose(student(freedom, CHANCES), stdtrit(freedom, CHANCES), rtol=1e-8, atol=1e-12)


def test_one_chance_gives_one_quantile():
    assert float(student(7, 0.95)) == pytest.approx(stdtrit(7, 0.95), rel=1e-12)
    assert float(student(7, 0.5)) == 0.0
