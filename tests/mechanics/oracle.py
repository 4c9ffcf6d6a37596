"""An independent solution of the bonded overlap, to hold against `jointrisk.mechanics`.

Two bars of linear elements, joined node by node by springs that yield, are pulled apart by a
prescribed movement of the plug's end; equilibrium is found by Newton's method on the banded
stiffness matrix. Nothing is taken from the package: no closed form, no shear-lag parameter, no
common code. Written in the joint's own units (mm, N, MPa).

With `history` the springs are truly plastic (they unload elastically), stepped from the misfit to
the end. Without, their force is a function of the slip alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import solve_banded
from scipy.optimize import brentq


@dataclass(frozen=True)
class Joint:
    """One joint in plain numbers."""

    R: float
    rp: float
    rb: float
    t: float
    L: float
    Et: float
    Ep: float
    G: float
    tau: float
    slip: float
    misfit: float = 0.0
    eta: float = 0.0  # offset over gap; the layer is then a ring of springs of differing length

    @property
    def circumference(self) -> float:
        return math.pi * (2 * self.rp + self.t)

    @cached_property
    def compliance(self) -> float:
        """Slip per shear stress of the annular layer, by integrating tau r_m/(G r)."""
        r = np.linspace(self.rp, self.rp + self.t, 2001)
        mid = self.rp + self.t / 2
        return float(np.trapezoid(mid / (self.G * r), r))


@dataclass
class Bars:
    """The discrete joint: `nodes` on plug and tube each, tube held at z = L."""

    joint: Joint
    nodes: int

    def __post_init__(self) -> None:
        j, n = self.joint, self.nodes
        h = j.L / (n - 1)
        self.plug = j.Ep * math.pi * (j.rp**2 - j.rb**2) / h
        self.tube = j.Et * math.pi * (j.R**2 - (j.rp + j.t) ** 2) / h
        self.area = np.full(n, h * j.circumference)
        self.area[[0, -1]] /= 2
        self.heat = self.tube * h * j.misfit  # force that would hold back the tube's free strain
        self.state = np.zeros((n, 2))
        self.plastic = np.zeros(n)

    def spring(self, slip: np.ndarray, history: bool) -> tuple[np.ndarray, np.ndarray]:
        """Mean stress and stiffness around the circumference."""
        tau, eta = self.joint.tau, self.joint.eta
        around = np.cos((np.arange(32) + 0.5) * np.pi / 32)[:, None] if eta else np.zeros((1, 1))
        c = self.joint.compliance * (1 + eta * around)
        trial = (slip - (self.plastic if history else 0.0)) / c
        stiff = np.where(np.abs(trial) < tau, 1 / c, 0.0)
        return np.clip(trial, -tau, tau).mean(axis=0), stiff.mean(axis=0)

    def solve(self, pull: float | None, *, history: bool = False) -> tuple[float, np.ndarray]:
        """Move the plug's mouth end by `pull` towards -z (None: leave it free).

        Returns the force and the slips, and keeps the state as the start of the next step.
        """
        n, u = self.nodes, self.state.copy()
        held = [2 * n - 1] if pull is None else [0, 2 * n - 1]
        u[0, 0] = u[0, 0] if pull is None else -pull
        free, stiff = self.unbalanced(u, held, history)
        for _ in range(300):
            rounding = 1e-15 * (self.plug + self.tube) * np.abs(u).max()
            if np.abs(free).max() < 1e-10 * self.joint.tau * self.area.sum() + rounding:
                break
            step = solve_banded((2, 2), self.matrix(stiff, held), -free)
            fall, part = abs(free @ step), 1.0
            # The energy is convex: halve the step while its slope says we are far beyond the least.
            while True:
                free, stiff = self.unbalanced(u + part * step.reshape(n, 2), held, history)
                if free @ step < 0.5 * fall or part < 1e-6:
                    break
                part /= 2
            u += part * step.reshape(n, 2)
        else:
            raise AssertionError(f"the oracle did not find equilibrium: {np.abs(free).max():g}")
        slip = u[:, 1] - u[:, 0]
        stress, _ = self.spring(slip, history)
        force = -self.residual(u, stress)[0, 0]
        self.state = u
        if history:
            self.plastic = slip - stress * self.joint.compliance
        return float(force), slip

    def unbalanced(
        self, u: np.ndarray, held: list[int], history: bool
    ) -> tuple[np.ndarray, np.ndarray]:
        """Out-of-balance forces (0 where held) and spring stiffnesses."""
        stress, stiff = self.spring(u[:, 1] - u[:, 0], history)
        free = self.residual(u, stress).ravel()
        free[held] = 0.0
        return free, stiff

    def residual(self, u: np.ndarray, stress: np.ndarray) -> np.ndarray:
        """Out-of-balance force on each node of plug (0) and tube (1)."""
        plug = self.plug * np.diff(u[:, 0])
        tube = self.tube * np.diff(u[:, 1]) - self.heat
        out = np.zeros_like(u)
        for column, force in ((0, plug), (1, tube)):
            out[:-1, column] -= force
            out[1:, column] += force
        shear = stress * self.area
        out[:, 0] -= shear
        out[:, 1] += shear
        return out

    def matrix(self, stiff: np.ndarray, held: list[int]) -> np.ndarray:
        """Tangent stiffness in banded form, held degrees of freedom replaced by unity."""
        n = self.nodes
        ends = np.full(n, 2.0)
        ends[[0, -1]] = 1.0
        shear = stiff * self.area
        diagonal = np.stack([ends * self.plug + shear, ends * self.tube + shear], axis=1).ravel()
        next_one = np.zeros(2 * n)
        next_one[:-1:2] = -shear  # plug and tube of one node
        next_two = np.tile([-self.plug, -self.tube], n)
        next_two[-2:] = 0.0  # one node and the next
        band = np.zeros((5, 2 * n))
        band[2] = diagonal
        band[1, 1:], band[3] = next_one[:-1], next_one
        band[0, 2:], band[4] = next_two[:-2], next_two
        for row in held:
            for column in range(max(row - 2, 0), min(row + 3, 2 * n)):
                band[2 + row - column, column] = float(row == column)
                band[2 + column - row, row] = float(row == column)
        return band


def pull_out(joint: Joint, nodes: int = 1601) -> tuple[float, str]:
    """Return the force when the larger end slip reaches `joint.slip`, and what has yielded then.

    The springs have no memory. What has yielded: "none", "mouth", "tip", "both" (with an elastic
    middle), "all", or "opposite" (an end in reverse).
    """
    bars = Bars(joint, nodes)

    def lack(pull: float) -> float:
        _, slip = bars.solve(pull)
        return float(max(slip[0], slip[-1])) - joint.slip

    low, high = -joint.slip, joint.slip
    while lack(low) > 0:
        low *= 2
    while lack(high) < 0:
        high *= 2
    pull = brentq(lack, low, high, xtol=1e-14, rtol=1e-11)
    force, slip = bars.solve(pull)
    return force, _yielded(slip / (joint.compliance * joint.tau))


def _yielded(relative: np.ndarray) -> str:
    edge = 1 - 1e-9
    if relative.min() < -edge:
        return "opposite"
    if relative.min() > edge:
        return "all"
    ends = (relative[0] > edge, relative[-1] > edge)
    return {(0, 0): "none", (1, 0): "mouth", (0, 1): "tip", (1, 1): "both"}[ends]


def plastic_pull_out_force(joint: Joint, nodes: int = 201, steps: int = 400) -> float:
    """Return the same with springs that yield both ways and unload elastically.

    The misfit comes first, in steps and without force, then the pull, in steps. 0 where an end
    reaches `joint.slip` by misfit alone.
    """
    bars = Bars(joint, nodes)
    whole = bars.heat
    for part in np.linspace(0, 1, 41)[1:]:
        bars.heat = whole * part
        force, slip = bars.solve(None, history=True)
    if np.abs(slip).max() >= joint.slip:
        return 0.0
    start, last = -bars.state[0, 0], (force, max(slip[0], slip[-1]))
    step = 2 * joint.slip / steps
    for count in range(1, 100 * steps):
        force, slip = bars.solve(start + count * step, history=True)
        now = (force, max(slip[0], slip[-1]))
        if now[1] >= joint.slip:
            return float(np.interp(joint.slip, [last[1], now[1]], [last[0], now[0]]))
        last = now
    raise AssertionError("the oracle never reached the slip")
