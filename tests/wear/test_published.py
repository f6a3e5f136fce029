"""Published cases beside NIST StRD's nonlinear ones in test_fit.py."""

import numpy as np
import pytest

from pipeline.wear.fit import least_squares
from pipeline.wear.laws import GAS_CONSTANT, arrhenius


@pytest.mark.published(
    "activation energy of a reaction", source="NCERT Chemistry 12, decomposition of N2O5", origin="published"
)
def test_activation_energy_of_n2o5():
    # N2O5 decomposition as tabulated in school texts (NCERT Chemistry 12, chemical kinetics): regression of ln k, 100.633 kJ/mol.
    temperature = np.array([273.0, 293.0, 313.0, 333.0, 353.0])
    rate = np.array([0.0787, 1.70, 25.7, 178.0, 2140.0]) * 1e-5
    fit = least_squares(
        lambda x: x[0] + np.log(arrhenius(temperature, x[1], 313.0)), np.log(rate), [[-8.0, 50.0], [-8.0, 150.0]]
    )
    assert fit.parameters[1] == pytest.approx(100.633, abs=0.002)
    # Its standard error by hand from the regression on 1/T: 2.5 kJ/mol.
    x = 1 / temperature
    slope, level = np.polyfit(x, np.log(rate), 1)
    s = np.sqrt(((np.log(rate) - slope * x - level) ** 2).sum() / 3 / ((x - x.mean()) ** 2).sum())
    error = np.sqrt(fit.covariance[1, 1] * fit.chi2 / fit.dof)
    assert error == pytest.approx(s * GAS_CONSTANT / 1e3, rel=1e-5)


@pytest.mark.published("gas constant", source="SI, revision of 2019: N_A k", origin="certified")
def test_gas_constant_is_the_si_value():
    # Exact since the 2019 revision of the SI: N_A k.
    assert pytest.approx(6.02214076e23 * 1.380649e-23, rel=1e-9) == GAS_CONSTANT
