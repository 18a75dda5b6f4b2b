"""L. I. Sedov, 1946, "Propagation of strong shock waves", J. Appl. Math. Mech. 10:241: the constant
between energy and radius of a point and of a line blast, gamma = 1.4.

The similarity equations (mass, momentum, entropy behind a strong shock that goes as t^(2/(j+2)))
are integrated here from the shock inwards, which gives what Kamm & Timmes 2007 tabulate (0.851072,
0.984074; from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from liveview.optics.fronts import blast_energy

GAMMA = 1.4
CORE = 0.05
"""Of the radius: inside, a line blast's gas has 6e-7 of the density outside, a point's less."""


def constant(dimension: int) -> float:
    """K of ``E = K rho R^(j+2)/t^2``; j = 3 for a point, 2 for a line (energy per length).

    With x = r/R and U = dR/dt: velocity U V x, density rho0 G, pressure rho0 U^2 P x^2. Similarity
    turns the flow equations into ordinary ones in ln x.
    """
    power = 2.0 / (dimension + 2.0)  # R ~ t^power
    decay = (1.0 - power) / power  # U ~ R^-decay

    def slopes(_: float, state: np.ndarray) -> list[float]:
        v, g, p = state  # v = u/(U x), p = pressure/(rho0 U^2 x^2), all over ln x
        # mass:     (v-1) g'/g + v' + j v = 0
        # momentum: (v-1) v' + v (v-1) - decay v + (p' + 2 p)/g = 0
        # entropy:  (v-1)(p'/p + 2 - gamma g'/g) - 2 decay = 0
        matrix = np.array(
            [
                [1.0, (v - 1.0) / g, 0.0],
                [v - 1.0, 0.0, 1.0 / g],
                [0.0, -GAMMA * (v - 1.0) / g, (v - 1.0) / p],
            ]
        )
        right = np.array(
            [
                -dimension * v,
                -v * (v - 1.0) + decay * v - 2.0 * p / g,
                -2.0 * (v - 1.0) + 2.0 * decay,
            ]
        )
        return list(np.linalg.solve(matrix, right))

    def with_energy(ln_x: float, state: np.ndarray) -> list[float]:
        v, g, p, _ = state
        inside = (0.5 * g * v**2 + p / (GAMMA - 1.0)) * math.exp((dimension + 2.0) * ln_x)
        return [*slopes(ln_x, state[:3]), -inside]

    start = [2.0 / (GAMMA + 1.0), (GAMMA + 1.0) / (GAMMA - 1.0), 2.0 / (GAMMA + 1.0), 0.0]
    inner = math.log(CORE)
    flow = solve_ivp(with_energy, (0.0, inner), start, method="DOP853", rtol=1e-11, atol=1e-14)
    _, _, p, energy = flow.y[:, -1]
    # Hardly any gas is left inside, so that the pressure p x^2 is the same all over the core.
    core = p * CORE ** (dimension + 2.0) / (GAMMA - 1.0) / dimension
    shell = 4.0 * math.pi if dimension == 3 else 2.0 * math.pi
    return shell * power**2 * float(energy + core)


@pytest.mark.parametrize(("shape", "dimension"), [("point", 3), ("line", 2)])
def test_constant(shape: str, dimension: int) -> None:
    # six digits of the program's constants; the integration is good to 1e-8
    assert blast_energy(1.0, 1.0, 1.0, shape) == pytest.approx(constant(dimension), rel=1e-6)
