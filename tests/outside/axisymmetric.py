"""A plug glued into a tube as an elastic solid of revolution, by finite elements.

Plug, layer and tube are solids: nothing is assumed of how stress runs through a wall or across the
layer. z = 0 is the tube's mouth, `plug_end` the end of the plug. The layer fills the gap from
`mouth` to `tip`; what it does not fill is open, as a crack through the whole layer leaves it. The
plug is pulled by an even stress one and a half tube widths before the mouth; the tube is held
along the axis as far behind the plug. Second-order quadrilaterals on a grid of lines, finest at the
layer's faces and ends. mm, N, MPa.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu
from skfem import Basis, ElementQuad2, ElementVector, LinearForm, MeshQuad


@dataclass(frozen=True)
class Solid:
    """Elastic constants [MPa]: along the axis, around it, through the wall; one nu for all [-]."""

    along: float
    around: float
    through: float
    shear: float
    nu: float

    def law(self):
        """Return stress (rr, around, zz, rz) per strain, (4, 4) [MPa]."""
        r, a, z = 1 / self.through, 1 / self.around, 1 / self.along
        normal = [[r, -self.nu * a, -self.nu * z], [-self.nu * a, a, -self.nu * z],
                  [-self.nu * z, -self.nu * z, z]]  # fmt: skip
        law = np.zeros((4, 4))
        law[:3, :3], law[3, 3] = np.linalg.inv(normal), self.shear
        return law


def isotropic(modulus, nu):
    return Solid(modulus, modulus, modulus, modulus / (2 + 2 * nu), nu)


@dataclass(frozen=True)
class Joint:
    """Radii, gap, ends of plug and layer [mm], and materials."""

    outer: float
    plug_radius: float
    bore: float
    gap: float
    plug_end: float
    tube: Solid
    plug: Solid
    glue: Solid
    mouth: float
    tip: float

    def cracked(self, mouth=0.0, tip=0.0):
        """Return this joint with so much of its layer gone at either end."""
        return replace(self, mouth=self.mouth + mouth, tip=self.tip - tip)


@dataclass(frozen=True)
class Found:
    """What a pull of 1 N does; stress in the middle of the layer, (n,) [MPa/N] at z, (n,) [mm]."""

    z: np.ndarray
    shear: np.ndarray
    radial: np.ndarray
    compliance: float
    """Way of the pull per force [mm/N]."""


def away(start, end, first, growth):
    """Return grid lines from `start` (left out) to `end`, cells growing from about `first`."""
    cells = math.ceil(math.log1p(abs(end - start) * (growth - 1) / first) / math.log(growth))
    places = np.cumsum(growth ** np.arange(cells))
    return start + (end - start) * places / places[-1]


def grid(joint, across):
    """Return the cells that are full."""
    growth, cell = 1.4 ** (3 / across), joint.gap / across
    plug, inner = joint.plug_radius, joint.plug_radius + joint.gap
    r = [
        away(plug, joint.bore, cell, growth),
        np.linspace(plug, inner, across + 1),
        away(inner, joint.outer, cell, growth),
    ]
    middle = (joint.mouth + joint.tip) / 2
    ways = [(0.0, -3 * joint.outer), (joint.mouth, middle), (joint.tip, middle),
            (joint.plug_end, joint.plug_end + 3 * joint.outer)]  # fmt: skip
    ways += [(joint.mouth, 0.0), (joint.tip, joint.plug_end)]
    z = [away(start, end, cell, growth) for start, end in ways if start != end]
    z.append([joint.mouth, joint.tip])
    r, z = (np.unique(np.round(np.concatenate(lines), 9)) for lines in (r, z))
    mesh = MeshQuad.init_tensor(r, z)
    part = part_of(joint, mesh)
    at = mesh.p[1, mesh.t].mean(axis=0)
    low, high = [-np.inf, joint.mouth, 0.0], [joint.plug_end, joint.tip, np.inf]
    return mesh.restrict(np.flatnonzero((at > np.take(low, part)) & (at < np.take(high, part))))


def part_of(joint, mesh):
    """Return 0 for the cells of the plug, 1 in the layer, 2 in the tube, (cells,)."""
    r = mesh.p[0, mesh.t].mean(axis=0)
    return np.searchsorted([joint.plug_radius, joint.plug_radius + joint.gap], r)


def strain(u, r):
    """Return the strain (rr, around, zz, rz) of the shift `u` at radius `r`."""
    (rr, rz), (zr, zz) = u.grad
    return np.array([rr, u[0] / r, zz, rz + zr])


def stiffness(basis, laws):
    """Return the stiffness matrix of the cells, `laws` (cells, 4, 4) [MPa], weighed by 2 pi r."""
    r = basis.global_coordinates()[0]
    strains = np.array([strain(shape[0], r) for shape in basis.basis]).transpose(2, 3, 1, 0)
    stress = laws[:, None] @ strains * (2 * np.pi * r * basis.dx)[..., None, None]
    flat = (len(laws), -1, basis.Nbfun)
    cells = strains.reshape(flat).transpose(0, 2, 1) @ stress.reshape(flat)
    dofs = basis.element_dofs.T
    rows, columns = np.broadcast_arrays(dofs[:, :, None], dofs[:, None, :])
    return coo_matrix((cells.ravel(), (rows.ravel(), columns.ravel()))).tocsc()


def solve(joint, across=3):
    """Return what a pull of 1 N does; `across` cells lie across the layer, an odd number."""
    mesh, element = grid(joint, across), ElementVector(ElementQuad2())
    basis = Basis(mesh, element, intorder=4)
    laws = np.array([solid.law() for solid in (joint.plug, joint.glue, joint.tube)])
    low, high = mesh.p[1].min(), mesh.p[1].max()

    def pull(v, w):
        return -v[1] * 2 * w.x[0] / (joint.plug_radius**2 - joint.bore**2)

    face = basis.boundary(mesh.facets_satisfying(lambda x: x[1] == low, boundaries_only=True))
    force = LinearForm(pull).assemble(face)
    held = basis.get_dofs(lambda x: x[1] == high).all("u^2")
    if joint.bore == 0:
        held = np.union1d(held, basis.get_dofs(lambda x: x[0] == 0).all("u^1"))
    free = np.setdiff1d(np.arange(basis.N), held)
    matrix = stiffness(basis, laws[part_of(joint, mesh)])[free][:, free]
    u = np.zeros(basis.N)
    options = {"SymmetricMode": True}
    u[free] = splu(matrix, "MMD_AT_PLUS_A", 0.0, options=options).solve(force[free])
    return middle_of_layer(joint, mesh, element, u, laws[1], force @ u)


def middle_of_layer(joint, mesh, element, u, law, compliance):
    """Return stress at the middles of the cells around the middle of the layer, in order of z."""
    r, z = mesh.p[:, mesh.t].mean(axis=1)
    cells = np.flatnonzero(
        (abs(r - joint.plug_radius - joint.gap / 2) < 1e-6) & (z > joint.mouth) & (z < joint.tip)
    )
    cells = cells[np.argsort(z[cells])]
    there = Basis(mesh, element, elements=cells, quadrature=(np.full((2, 1), 0.5), np.ones(1)))
    shift = there.interpolate(u)
    stress = law @ strain(shift, r[cells][:, None])[..., 0]
    return Found(z[cells], stress[3], stress[0], compliance)
