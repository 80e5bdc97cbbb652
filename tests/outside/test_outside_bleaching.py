"""The lift's kinetics against published measurements of bleaching.

No published table of lightness against minutes was found; what is published in numbers is the oxidant's loss
over hair, and that lightening levels off.
"""

from __future__ import annotations

import numpy as np
import pytest

from strandgauge.lift.kinetics import halvings

MINUTES = np.array([0.0, 15.0, 30.0, 45.0, 60.0, 120.0, 180.0])
PEROXIDE = np.array([6.08, 5.87, 5.79, 5.68, 5.60, 5.06, 4.67])
"""Per cent H2O2 left over 2 g of dark brown hair, 6 %, 0.5 % NH4OH, 0.1 % EDTA, 32.2 C.

Properties of peroxide-bleached hair, J. Soc. Cosmet. Chem. 12 (1961), table on p. 135.
"""


def test_the_loss_of_oxidant_over_hair_is_of_first_order():
    """Order 1 fits the stabilised bath within 0.1 % H2O2, with its rate of 0.0015 a minute; order 2 does not.

    The rate, by a straight line through the logarithms of the same table up to 120 minutes: 0.00153.
    """
    from scipy.optimize import curve_fit

    first_order, _ = curve_fit(
        lambda when, half: PEROXIDE[0] * 0.5 ** halvings(when, half, 1.0), MINUTES, PEROXIDE, p0=[300.0]
    )
    left = PEROXIDE[0] * 0.5 ** halvings(MINUTES, first_order[0], 1.0)
    assert np.abs(left - PEROXIDE).max() < 0.1
    assert np.log(2.0) / first_order[0] == pytest.approx(0.00153, rel=0.05)
    second, _ = curve_fit(
        lambda when, half: PEROXIDE[0] * 0.5 ** halvings(when, half, 2.0), MINUTES, PEROXIDE, p0=[300.0]
    )
    assert np.abs(PEROXIDE[0] * 0.5 ** halvings(MINUTES, second[0], 2.0) - PEROXIDE).max() > 0.2
