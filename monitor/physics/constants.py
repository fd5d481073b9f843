"""Constants of nature that the formulas share."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# CODATA 2018, exact [J/mol/K].
GAS_J_MOL_K = 8.314462618
# Specific gas constant of water vapour, IAPWS-95 [J/kg/K].
VAPOUR_J_KG_K = 461.523
# Molar mass of water over that of dry air, ASHRAE Handbook Fundamentals 2017, chapter 1.
WATER_OVER_AIR = 0.621945
STANDARD_PRESSURE_PA = 101_325.0
ZERO_C_K = 273.15
# Figures of the catalogue (diffusivity) hold at 23 °C.
CATALOGUE_K = 296.15
# Isotherms of desiccants and the normalised humidity hold at 25 °C.
NORMAL_C = 25.0
NORMAL_K = 298.15
