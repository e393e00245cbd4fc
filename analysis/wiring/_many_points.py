"""The operating points of many networks at once, each seen from its ports: u = Z j(u), by Newton's method."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.wiring._port_network import PortNetwork

Floats = npt.NDArray[np.float64]

_MOST_STEPS, _MOST_HALVINGS = 40, 6
_SETTLED_V = 1e-10


def operating_points(problem: PortNetwork, z: Floats, start: Floats) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Port volts (B, K) of u = Z j(u) for each Z (B, K, K), and whether each was found on the working branch."""
    driven = np.zeros(len(start))
    driven[: len(problem.sources)] = problem.emf / problem.source_ohm
    powered = np.concatenate([np.zeros(len(problem.sources), bool), problem.power_w > 0])

    def residual(volts: Floats, z: Floats) -> Floats:
        left = volts - np.einsum("bij,bj->bi", z, driven - problem.port_currents(volts, 1.0)[0])
        left[(volts[:, powered] <= 0).any(axis=1)] = np.inf
        return np.asarray(left)

    volts = np.tile(start, (len(z), 1))
    settled = np.zeros(len(z), bool)
    for _ in range(_MOST_STEPS):
        open_ = np.flatnonzero(~settled)
        if not len(open_):
            break
        left = residual(volts[open_], z[open_])
        slope = problem.port_currents(volts[open_], 1.0)[1]
        step = _steps(np.eye(len(start)) + z[open_] * slope[:, None, :], left)
        share = np.ones((len(open_), 1))
        size = np.abs(left).max(axis=1, initial=0.0)
        for _ in range(_MOST_HALVINGS):
            worse = np.abs(residual(volts[open_] - share * step, z[open_])).max(axis=1, initial=0.0) > size
            if not worse.any():
                break
            share[worse] /= 2
        volts[open_] -= share * step
        settled[open_] = np.abs(share * step).max(axis=1, initial=0.0) < _SETTLED_V
    jacobian = np.eye(len(start)) + z * problem.port_currents(volts, 1.0)[1][:, None, :]
    sound = settled & np.isfinite(volts).all(axis=1) & (np.abs(residual(volts, z)).max(axis=1, initial=0.0) < 1e-6)
    sound[sound] = np.linalg.det(jacobian[sound]) > 0
    return np.where(sound[:, None], volts, start), sound


def _steps(jacobian: Floats, left: Floats) -> Floats:
    """Newton's steps; none where the Jacobian is singular or the state is none."""
    fit = np.isfinite(left).all(axis=1) & (np.abs(np.linalg.det(np.nan_to_num(jacobian))) > 1e-12)
    step = np.zeros_like(left)
    step[fit] = np.linalg.solve(jacobian[fit], left[fit][:, :, None])[:, :, 0]
    return step


def reduction(z: Floats, slope: Floats) -> Floats:
    """S (I + Z S)^-1 with the ports' slopes S."""
    eye = np.eye(z.shape[1])
    return np.asarray(slope[:, :, None] * np.linalg.inv(eye + z * slope[:, None, :]))
