"""Every compiled kernel of the flow solver.

They stand in one file because numba's cache does not notice a change in a callee of another file, and
constants are passed as arguments for the same reason. Fields are indexed [j along z, i along r]; u lives on
r-faces (nz, nr+1), w on z-faces (nz+1, nr), v, p on centres (nz, nr). Viscosity `nu` carries a rim:
(nz+2, nr+2), whose outer entries are values *on* the floor, ceiling, side and inner cylinder. Pressure is over
density [m2/s2], forces are accelerations [m/s2]. All stencils are second-order central; equations: solver/README.md.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]


class Edges(NamedTuple):
    """What the boundary faces do, as arrays. kind: 0 = normal velocity given, 1 = pressure condition.

    side_*: (nz,), but side_w, side_stress_w, side_carry_w: (nz+1,) at z-faces.
    top_*, bottom_*: (nr,), but *_u and top_stress_u, ...: (nr+1,) at r-faces.
    stress_*: share of the no-slip stress that acts (1 wall, 0 free slip, between: partly open).
    carry_*: 1 where inflow brings the given tangential value, 0 where it brings the value inside.
    inner_v (nz,), inner_stress: an impermeable inner cylinder, where the grid has one (w = 0 on it). On the axis
    its area is zero, and so is all that it does.
    """

    side_kind: NDArray[np.int64]
    side_u: Array
    side_v: Array
    side_w: Array
    side_stress_v: Array
    side_stress_w: Array
    side_carry_v: Array
    side_carry_w: Array
    side_open: Array
    side_in: Array
    side_out: Array
    side_p: Array
    top_kind: NDArray[np.int64]
    top_w: Array
    top_u: Array
    top_v: Array
    top_stress_u: Array
    top_stress_v: Array
    top_carry_u: Array
    top_carry_v: Array
    top_loss: Array
    top_p: Array
    bottom_w: Array
    bottom_u: Array
    bottom_v: Array
    bottom_stress_u: Array
    bottom_stress_v: Array
    inner_v: Array
    inner_stress: float
    blend_speed: float


@njit(cache=True, error_model="numpy")
def outflow_share(normal, blend):
    """Share of the inside value that leaves with the normal velocity: 0 inflow, 1 outflow, smooth over `blend`."""
    return 0.5 * (1.0 + np.tanh(normal / blend))


@njit(cache=True, error_model="numpy")
def carried_weights(normal, reach, carry, blend):
    """Weights of (first inside value, second inside value, given value) in what `carried` returns."""
    share = outflow_share(normal, blend)
    return share * (1.0 + reach) + (1.0 - share) * (1.0 - carry), -share * reach, (1.0 - share) * carry


@njit(cache=True, error_model="numpy")
def carried(normal, inside, second, reach, given, carry, blend):
    """Value that the flow carries through a boundary face: the given one on inflow, the inside on outflow.

    On outflow it is extrapolated from the two values inside (reach: distance to the face over theirs): the
    nearest value alone makes the outermost cell inconsistent beside central fluxes, which leaves wiggles of
    first order upstream of an opening where the cell Peclet number exceeds 2.
    """
    one, two, three = carried_weights(normal, reach, carry, blend)
    return one * inside + two * second + three * given


@njit(cache=True, error_model="numpy")
def side_blend(e, j):
    """Normal velocity over which the side's carried values change [m/s]: that in the openings, as a perimeter mean."""
    return e.blend_speed * (e.side_open[j] if e.side_kind[j] == 1 else 1.0)


@njit(cache=True, error_model="numpy")
def side_swirl(un, v, e, m, j):
    """Tangential velocity carried through the side. Stress-free air keeps v/r, so that is extrapolated."""
    nr = v.shape[1]
    rim, reach = m.rf[nr], m.drc[nr] / m.drc[nr - 1]
    inside, second = v[j, nr - 1] * rim / m.r[nr - 1], v[j, nr - 2] * rim / m.r[nr - 2]
    return carried(un, inside, second, reach, e.side_v[j], e.side_carry_v[j], side_blend(e, j))


@njit(cache=True, error_model="numpy")
def corner_viscosity(nu, out):
    """Fill `out` (nz+1, nr+1) with the viscosity at z-face j, r-face i: mean of the cells or rim values around."""
    nz, nr = out.shape[0] - 1, out.shape[1] - 1
    for j in range(1, nz):
        for i in range(1, nr):
            out[j, i] = 0.25 * (nu[j, i] + nu[j + 1, i] + nu[j, i + 1] + nu[j + 1, i + 1])
        out[j, 0] = 0.5 * (nu[j, 0] + nu[j + 1, 0])
        out[j, nr] = 0.5 * (nu[j, nr + 1] + nu[j + 1, nr + 1])
    for i in range(1, nr):
        out[0, i] = 0.5 * (nu[0, i] + nu[0, i + 1])
        out[nz, i] = 0.5 * (nu[nz + 1, i] + nu[nz + 1, i + 1])
    out[0, 0], out[nz, 0] = nu[0, 0], nu[nz + 1, 0]
    out[0, nr], out[nz, nr] = nu[0, nr + 1], nu[nz + 1, nr + 1]


@njit(cache=True, error_model="numpy")
def side_pressure(un, e, j):
    """Kinematic pressure on the open side [m2/s2]: total pressure ambient on inflow; on outflow Bernoulli to the
    opening, where the pressure is ambient, with a loss on the opening's dynamic head.
    """
    open_speed = un / e.side_open[j]
    if un < 0.0:
        return e.side_p[j] - 0.5 * (1.0 + e.side_in[j]) * open_speed * open_speed
    return e.side_p[j] + 0.5 * (e.side_out[j] + 1.0 - e.side_open[j] ** 2) * open_speed * open_speed


@njit(cache=True, error_model="numpy")
def side_pressure_slope(un, e, j):
    """Derivative of `side_pressure` by the normal velocity [m/s], never negative: it damps."""
    if un < 0.0:
        return -(1.0 + e.side_in[j]) * un / e.side_open[j] ** 2
    return (e.side_out[j] + 1.0 - e.side_open[j] ** 2) * un / e.side_open[j] ** 2


@njit(cache=True, error_model="numpy")
def side_lags(u, e, step, out):
    """Fill `out` (nz,) with the step times the magnitude of the side's pressure slope [m]; 0 on closed faces."""
    nr = u.shape[1] - 1
    for j in range(u.shape[0]):
        out[j] = step * abs(side_pressure_slope(u[j, nr], e, j)) if e.side_kind[j] == 1 else 0.0


@njit(cache=True, error_model="numpy")
def top_pressure(wn, e, i):
    """Kinematic pressure in the exhaust plane [m2/s2]: duct value plus the screen's loss, Bernoulli on backflow."""
    if wn < 0.0:
        return e.top_p[i] - 0.5 * (1.0 + e.top_loss[i]) * wn * wn
    return e.top_p[i] + 0.5 * e.top_loss[i] * wn * wn


@njit(cache=True, error_model="numpy")
def top_pressure_slope(wn, e, i):
    """Derivative of `top_pressure` by the normal velocity [m/s]."""
    if wn < 0.0:
        return -(1.0 + e.top_loss[i]) * wn
    return e.top_loss[i] * wn


@njit(cache=True, error_model="numpy")
def exhaust_pressures(w, p, e, out):
    """Fill out (nr,) with the kinematic pressure at the top [m2/s2]: in the exhaust plane, beside it that of the cell.

    w (nz+1, nr), p (nz, nr).
    """
    nz = p.shape[0]
    for i in range(out.size):
        out[i] = top_pressure(w[nz, i], e, i) if e.top_kind[i] == 1 else p[nz - 1, i]


@njit(cache=True, error_model="numpy")
def swirl_fluxes(u, v, v_r, v_z, w, nu, m, e, adv_r, vis_r, adv_z, vis_z):
    """Fluxes of angular momentum r*v through every face, per radian and density [m5/s2], split in two parts.

    v is advected; v_r and v_z are the tangential velocity in the viscous r and z fluxes (the same array but in a
    factorised step, whose effective viscous fluxes differ by direction). adv_r, vis_r: (nz, nr+1), adv_z, vis_z:
    (nz+1, nr), out.
    The viscous r-flux is nu r^3 d(v/r)/dr on the grid's own centres, so solid-body rotation has none.
    """
    nz, nr = v_r.shape
    r, rf = m.r, m.rf
    for j in range(nz):
        adv_r[j, 0] = 0.0
        # No quotient by rf[0], so that the axis needs no exception.
        slip = (v_r[j, 0] * rf[0] / r[0] - e.inner_v[j]) / m.drc[0]
        vis_r[j, 0] = -nu[j + 1, 0] * rf[0] ** 2 * slip * m.dz[j] * e.inner_stress
        for i in range(1, nr):
            face_nu = 0.5 * (nu[j + 1, i] + nu[j + 1, i + 1])
            adv_r[j, i] = rf[i] * rf[i] * u[j, i] * m.dz[j] * 0.5 * (v[j, i - 1] + v[j, i])
            shear = (v_r[j, i] / r[i] - v_r[j, i - 1] / r[i - 1]) / m.drc[i]
            vis_r[j, i] = -face_nu * rf[i] ** 3 * shear * m.dz[j]
        edge = side_swirl(u[j, nr], v, e, m, j)
        adv_r[j, nr] = rf[nr] * rf[nr] * u[j, nr] * m.dz[j] * edge
        shear = (e.side_v[j] / rf[nr] - v_r[j, nr - 1] / r[nr - 1]) / m.drc[nr]
        vis_r[j, nr] = -nu[j + 1, nr + 1] * rf[nr] ** 3 * shear * m.dz[j] * e.side_stress_v[j]
    reach_bottom, reach_top = m.dzc[0] / m.dzc[1], m.dzc[nz] / m.dzc[nz - 1]
    for i in range(nr):
        ring = m.a[i] * r[i]
        edge = carried(-w[0, i], v[0, i], v[1, i], reach_bottom, e.bottom_v[i], 1.0, e.blend_speed)
        adv_z[0, i] = ring * w[0, i] * edge
        vis_z[0, i] = -nu[0, i + 1] * ring * (v_z[0, i] - e.bottom_v[i]) / m.dzc[0] * e.bottom_stress_v[i]
        inside, second = v[nz - 1, i], v[nz - 2, i]
        edge = carried(w[nz, i], inside, second, reach_top, e.top_v[i], e.top_carry_v[i], e.blend_speed)
        adv_z[nz, i] = ring * w[nz, i] * edge
        slope = (e.top_v[i] - v_z[nz - 1, i]) / m.dzc[nz]
        vis_z[nz, i] = -nu[nz + 1, i + 1] * ring * slope * e.top_stress_v[i]
    for j in range(1, nz):
        for i in range(nr):
            ring = m.a[i] * r[i]
            face_nu = 0.5 * (nu[j, i + 1] + nu[j + 1, i + 1])
            adv_z[j, i] = ring * w[j, i] * 0.5 * (v[j - 1, i] + v[j, i])
            vis_z[j, i] = -face_nu * ring * (v_z[j, i] - v_z[j - 1, i]) / m.dzc[j]


@njit(cache=True, error_model="numpy")
def radial_rates(u, v, w, p, nu, nuc, m, e, fr, flux_r, flux_z, out_u):
    """Rate of change of u [m/s2] on r-faces: advection, stress, centrifugal term, pressure and force fr (nz, nr+1).

    flux_r holds fluxes at centres, flux_z at corners (z-face j, r-face i). The hoop stress is divided by the
    u-volume's own area, so that it cancels the radial stress of u = c r exactly: a mismatch is O(1) beside the
    axis of a stretched grid and makes the pressure there first order.
    """
    nz, nr = v.shape
    r, rf = m.r, m.rf
    for j in range(nz):
        for i in range(nr):
            mean_mass = 0.5 * (rf[i] * u[j, i] + rf[i + 1] * u[j, i + 1]) * m.dz[j]
            stretch = (u[j, i + 1] - u[j, i]) / m.dr[i]
            flux_r[j, i] = mean_mass * 0.5 * (u[j, i] + u[j, i + 1]) - 2.0 * nu[j + 1, i + 1] * r[i] * stretch * m.dz[j]
    reach_bottom, reach_top = m.dzc[0] / m.dzc[1], m.dzc[nz] / m.dzc[nz - 1]
    for j in range(1, nz):
        for i in range(1, nr):
            mass = 0.5 * (m.a[i - 1] * w[j, i - 1] + m.a[i] * w[j, i])
            shear = (u[j, i] - u[j - 1, i]) / m.dzc[j] + (w[j, i] - w[j, i - 1]) / m.drc[i]
            flux_z[j, i] = mass * 0.5 * (u[j - 1, i] + u[j, i]) - nuc[j, i] * shear * m.ac[i]
        mass = 0.5 * m.a[nr - 1] * w[j, nr - 1]
        shear = (u[j, nr] - u[j - 1, nr]) / m.dzc[j] + (e.side_w[j] - w[j, nr - 1]) / m.drc[nr]
        stress = nuc[j, nr] * shear * m.ac[nr] * e.side_stress_w[j]
        flux_z[j, nr] = mass * 0.5 * (u[j - 1, nr] + u[j, nr]) - stress
    for i in range(1, nr + 1):
        blend = e.blend_speed * m.ac[i]
        for j in (0, nz):
            if i < nr:
                mass = 0.5 * (m.a[i - 1] * w[j, i - 1] + m.a[i] * w[j, i])
                dwdr, share = (w[j, i] - w[j, i - 1]) / m.drc[i], 1.0
            else:
                mass = 0.5 * m.a[nr - 1] * w[j, nr - 1]
                dwdr, share = (e.side_w[j] - w[j, nr - 1]) / m.drc[nr], e.side_stress_w[j]
            if j == 0:
                inside, given = u[0, i], e.bottom_u[i]
                face = carried(-mass, inside, u[1, i], reach_bottom, given, 1.0, blend)
                shear = (inside - given) / m.dzc[0] + dwdr
                share *= e.bottom_stress_u[i]
            else:
                inside, given = u[nz - 1, i], e.top_u[i]
                face = carried(mass, inside, u[nz - 2, i], reach_top, given, e.top_carry_u[i], blend)
                shear = (given - inside) / m.dzc[nz] + dwdr
                share *= e.top_stress_u[i]
            flux_z[j, i] = mass * face - nuc[j, i] * shear * m.ac[i] * share
    for j in range(nz):
        out_u[j, 0] = 0.0
        for i in range(1, nr):
            gain = flux_r[j, i - 1] - flux_r[j, i] + flux_z[j, i] - flux_z[j + 1, i]
            face_nu = 0.5 * (nu[j + 1, i] + nu[j + 1, i + 1])
            mean_v = 0.5 * (v[j, i - 1] + v[j, i])
            turn = (v[j, i] * (r[i] - rf[i]) / r[i] + v[j, i - 1] * (rf[i] - r[i - 1]) / r[i - 1]) * rf[i] / m.ac[i]
            out_u[j, i] = (
                gain / (m.ac[i] * m.dz[j])
                + mean_v * turn
                - 2.0 * face_nu * u[j, i] * m.drc[i] / (rf[i] * m.ac[i])
                - (p[j, i] - p[j, i - 1]) / m.drc[i]
                + fr[j, i]
            )
        if e.side_kind[j] == 1:
            un = u[j, nr]
            gain = flux_r[j, nr - 1] - rf[nr] * un * un * m.dz[j] + flux_z[j, nr] - flux_z[j + 1, nr]
            # The side's pressure stands for p - 2 nu du/dr there (a traction); the ring's widening acts on
            # the inside normal stress and balances the hoop stress of u = c r.
            stretch = (un - u[j, nr - 1]) / m.dr[nr - 1]
            gain += 2.0 * nu[j + 1, nr] * stretch * (rf[nr] - r[nr - 1]) * m.dz[j]
            # First order is enough here: it enters the pressure of the last cell times half its width.
            near = v[j, nr - 1] * rf[nr] / r[nr - 1]
            edge = carried(un, near, near, 0.0, e.side_v[j], e.side_carry_v[j], side_blend(e, j))
            mean_v = 0.5 * (v[j, nr - 1] + edge)
            out_u[j, nr] = (
                gain / (m.ac[nr] * m.dz[j])
                + mean_v * mean_v / rf[nr]
                - 2.0 * nu[j + 1, nr + 1] * un * m.drc[nr] / (rf[nr] * m.ac[nr])
                - (side_pressure(un, e, j) - p[j, nr - 1]) / m.drc[nr]
                + fr[j, nr]
            )
        else:
            out_u[j, nr] = 0.0


@njit(cache=True, error_model="numpy")
def axial_rates(u, w, p, nu, nuc, m, e, fz, flux_r, flux_z, out_w):
    """Rate of change of w [m/s2] on z-faces: advection, stress, pressure and force fz (nz+1, nr).

    flux_z holds fluxes at centres, flux_r at corners (z-face j, r-face i).
    """
    nz, nr = p.shape
    rf = m.rf
    for j in range(nz):
        for i in range(nr):
            mean_w = 0.5 * (w[j, i] + w[j + 1, i])
            stretch = (w[j + 1, i] - w[j, i]) / m.dz[j]
            flux_z[j, i] = m.a[i] * (mean_w * mean_w - 2.0 * nu[j + 1, i + 1] * stretch)
    reach_side = m.drc[nr] / m.drc[nr - 1]
    for j in range(1, nz + 1):
        upper = m.dz[j] if j < nz else 0.0
        half = 0.5 * (m.dz[j - 1] + upper)
        share = e.inner_stress * (e.top_stress_u[0] if j == nz else 1.0)
        flux_r[j, 0] = -nuc[j, 0] * w[j, 0] / m.drc[0] * rf[0] * half * share
        if j < nz:
            for i in range(1, nr):
                mass = 0.5 * rf[i] * (m.dz[j - 1] * u[j - 1, i] + upper * u[j, i])
                shear = (u[j, i] - u[j - 1, i]) / m.dzc[j] + (w[j, i] - w[j, i - 1]) / m.drc[i]
                flux_r[j, i] = mass * 0.5 * (w[j, i - 1] + w[j, i]) - nuc[j, i] * shear * rf[i] * half
            mass = 0.5 * rf[nr] * (m.dz[j - 1] * u[j - 1, nr] + upper * u[j, nr])
            dudz, share = (u[j, nr] - u[j - 1, nr]) / m.dzc[j], e.side_stress_w[j]
        else:
            for i in range(1, nr):
                mass = 0.5 * rf[i] * m.dz[nz - 1] * u[nz - 1, i]
                shear = (e.top_u[i] - u[nz - 1, i]) / m.dzc[nz] + (w[nz, i] - w[nz, i - 1]) / m.drc[i]
                stress = nuc[nz, i] * shear * rf[i] * half * e.top_stress_u[i]
                flux_r[nz, i] = mass * 0.5 * (w[nz, i - 1] + w[nz, i]) - stress
            mass = 0.5 * rf[nr] * m.dz[nz - 1] * u[nz - 1, nr]
            dudz = (e.top_u[nr] - u[nz - 1, nr]) / m.dzc[nz]
            share = e.top_stress_u[nr] * e.side_stress_w[nz]
        inside, given = w[j, nr - 1], e.side_w[j]
        blend = 0.5 * (side_blend(e, j - 1) + side_blend(e, min(j, nz - 1))) * rf[nr] * half
        face = carried(mass, inside, w[j, nr - 2], reach_side, given, e.side_carry_w[j], blend)
        shear = dudz + (given - inside) / m.drc[nr]
        flux_r[j, nr] = mass * face - nuc[j, nr] * shear * rf[nr] * half * share
    for j in range(1, nz):
        for i in range(nr):
            gain = flux_r[j, i] - flux_r[j, i + 1] + flux_z[j - 1, i] - flux_z[j, i]
            volume = m.a[i] * 0.5 * (m.dz[j - 1] + m.dz[j])
            out_w[j, i] = gain / volume - (p[j, i] - p[j - 1, i]) / m.dzc[j] + fz[j, i]
    for i in range(nr):
        out_w[0, i] = 0.0
        if e.top_kind[i] == 1:
            wn = w[nz, i]
            gain = flux_r[nz, i] - flux_r[nz, i + 1] + flux_z[nz - 1, i] - m.a[i] * wn * wn
            volume = m.a[i] * 0.5 * m.dz[nz - 1]
            drop = (top_pressure(wn, e, i) - p[nz - 1, i]) / m.dzc[nz]
            out_w[nz, i] = gain / volume - drop + fz[nz, i]
        else:
            out_w[nz, i] = 0.0


@njit(cache=True, error_model="numpy")
def momentum_rates(
    u, v, w, p, nu, nuc, m, e, fr, ft, fz, adv_r, vis_r, adv_z, vis_z, flux_r, flux_z, out_u, out_v, out_w
):  # fmt: skip
    """Rates of change of u, v, w [m/s2] from advection, stress, pressure and forces; zero on given faces.

    nuc: (nz+1, nr+1) from `corner_viscosity`. fr: (nz, nr+1), ft: (nz, nr) torque over density [m2/s2],
    fz: (nz+1, nr). adv_*, vis_*, flux_*: work arrays.
    Second order; central fluxes that conserve kinetic energy, the centrifugal term included: it is the exact
    counterpart of the angular-momentum flux, so that swirl and radial motion exchange energy without a loss.
    """
    nz, nr = v.shape
    swirl_fluxes(u, v, v, v, w, nu, m, e, adv_r, vis_r, adv_z, vis_z)
    for j in range(nz):
        for i in range(nr):
            gain = adv_r[j, i] + vis_r[j, i] - adv_r[j, i + 1] - vis_r[j, i + 1]
            gain += adv_z[j, i] + vis_z[j, i] - adv_z[j + 1, i] - vis_z[j + 1, i]
            out_v[j, i] = (gain / (m.a[i] * m.dz[j]) + ft[j, i]) / m.r[i]
    radial_rates(u, v, w, p, nu, nuc, m, e, fr, flux_r, flux_z, out_u)
    axial_rates(u, w, p, nu, nuc, m, e, fz, flux_r, flux_z, out_w)


@njit(cache=True, error_model="numpy")
def divergence(u, w, q, m, out):
    """Net outflow less the source, over the cell volume [1/s]: div u - q. out, q: (nz, nr)."""
    nz, nr = q.shape
    for j in range(nz):
        for i in range(nr):
            radial = (m.rf[i + 1] * u[j, i + 1] - m.rf[i] * u[j, i]) / m.a[i]
            out[j, i] = radial + (w[j + 1, i] - w[j, i]) / m.dz[j] - q[j, i]


@njit(cache=True, error_model="numpy")
def mixing_length_viscosity(u, v, w, m, e, length, nu0, beta, cap, floor_rate, out):
    """Fill `out` (nz+2, nr+2) with molecular plus rotation-damped mixing-length viscosity [m2/s].

    nu_t = (length f)^2 S, S^2 = 2 S_ij S_ij, N = (2 v/r^2) d(rv)/dr, f = S^2/(S^2 + beta N) for N > 0 and
    1 + (cap-1) q/(q + (cap-1) S^2), q = -beta N, for N < 0: one slope on both sides. For small Ri = N/S^2 that is
    Bradshaw's l = l0 (1 - beta Ri), who damps the length, not the viscosity. length: (nz, nr) [m].
    floor_rate [1/s] regularises S at rest. Rim values are molecular: the length vanishes at a wall.
    """
    nz, nr = v.shape
    r, rf = m.r, m.rf
    has_inner = rf[0] > 0.0
    inner_share = e.inner_stress if has_inner else 0.0
    shear = np.zeros((nz + 1, nr + 1))
    padded, r_wide, z_wide = np.empty((nz + 2, nr + 2)), np.empty(nr), np.empty(nz)
    for j in range(1, nz):
        for i in range(1, nr):
            shear[j, i] = (w[j, i] - w[j, i - 1]) / m.drc[i] + (u[j, i] - u[j - 1, i]) / m.dzc[j]
        shear[j, 0] = w[j, 0] / m.drc[0] * inner_share
        side = (e.side_w[j] - w[j, nr - 1]) / m.drc[nr] * e.side_stress_w[j]
        shear[j, nr] = side + (u[j, nr] - u[j - 1, nr]) / m.dzc[j]
    for i in range(1, nr + 1):
        for j in (0, nz):
            if i < nr:
                dwdr = (w[j, i] - w[j, i - 1]) / m.drc[i]
            else:
                dwdr = (e.side_w[j] - w[j, nr - 1]) / m.drc[nr] * e.side_stress_w[j]
            if j == 0:
                shear[j, i] = dwdr + (u[0, i] - e.bottom_u[i]) / m.dzc[0] * e.bottom_stress_u[i]
            else:
                shear[j, i] = dwdr + (e.top_u[i] - u[nz - 1, i]) / m.dzc[nz] * e.top_stress_u[i]
    # v with a rim: its mirror image behind the axis; on the walls their value, or solid-body rotation where they slip.
    for j in range(nz):
        padded[j + 1, 0] = v[j, 0] + e.inner_stress * (e.inner_v[j] - v[j, 0]) if has_inner else -v[j, 0]
        for i in range(nr):
            padded[j + 1, i + 1] = v[j, i]
        slipping = v[j, nr - 1] * rf[nr] / r[nr - 1]
        padded[j + 1, nr + 1] = slipping + min(e.side_stress_v[j], 1.0) * (e.side_v[j] - slipping)
        below, above = m.z[j - 1] if j > 0 else 0.0, m.z[j + 1] if j < nz - 1 else m.zf[nz]
        z_wide[j] = above - below
    for i in range(nr):
        padded[0, i + 1] = v[0, i] + e.bottom_stress_v[i] * (e.bottom_v[i] - v[0, i])
        padded[nz + 1, i + 1] = v[nz - 1, i] + e.top_stress_v[i] * (e.top_v[i] - v[nz - 1, i])
        first = rf[0] if has_inner else -r[0]
        inner, outer = r[i - 1] if i > 0 else first, r[i + 1] if i < nr - 1 else rf[nr]
        r_wide[i] = outer - inner
    out[:, :] = nu0
    for j in range(nz):
        for i in range(nr):
            s_rr = (u[j, i + 1] - u[j, i]) / m.dr[i]
            s_tt = 0.5 * (u[j, i] + u[j, i + 1]) / r[i]
            s_zz = (w[j + 1, i] - w[j, i]) / m.dz[j]
            s_rz = 0.25 * (shear[j, i] + shear[j, i + 1] + shear[j + 1, i] + shear[j + 1, i + 1])
            dvdr = (padded[j + 1, i + 2] - padded[j + 1, i]) / r_wide[i]
            turn = v[j, i] / r[i]
            s_rt = dvdr - turn
            s_tz = (padded[j + 2, i + 1] - padded[j, i + 1]) / z_wide[j]
            s2 = 2.0 * (s_rr * s_rr + s_tt * s_tt + s_zz * s_zz) + s_rz * s_rz + s_rt * s_rt + s_tz * s_tz
            s2 += floor_rate * floor_rate
            q = 2.0 * beta * turn * (dvdr + turn)
            stable, unstable = max(q, 0.0), max(-q, 0.0)
            f = s2 / (s2 + stable) + (cap - 1.0) * unstable / (unstable + (cap - 1.0) * s2 + 1e-300)
            out[j + 1, i + 1] = nu0 + (length[j, i] * f) ** 2 * np.sqrt(s2)
    if not has_inner:
        # The axis is no wall: its rim is the value beside it.
        out[:, 0] = out[:, 1]


@njit(cache=True, error_model="numpy")
def solve_columns(lower, diag, upper, rhs, n):
    """Solve a tridiagonal system along the first axis for every column at once, in place; diag is overwritten."""
    nr = rhs.shape[1]
    for i in range(nr):
        diag[0, i] = 1.0 / diag[0, i]
    for j in range(1, n):
        for i in range(nr):
            f = lower[j, i] * diag[j - 1, i]
            diag[j, i] = 1.0 / (diag[j, i] - f * upper[j - 1, i])
            rhs[j, i] -= f * rhs[j - 1, i]
    for i in range(nr):
        rhs[n - 1, i] *= diag[n - 1, i]
    for j in range(n - 2, -1, -1):
        for i in range(nr):
            rhs[j, i] = (rhs[j, i] - upper[j, i] * rhs[j + 1, i]) * diag[j, i]


@njit(cache=True, error_model="numpy")
def factor_columns(coupling, diagonal, inverse):
    """Fill `inverse` (nz, n) with the pivots' inverses of a symmetric tridiagonal system in every column.

    diagonal: (nz, n). coupling: (nz-1,), the same in every column, minus the entries beside the diagonal.
    """
    nz, n = diagonal.shape
    for i in range(n):
        inverse[0, i] = 1.0 / diagonal[0, i]
    for j in range(1, nz):
        for i in range(n):
            inverse[j, i] = 1.0 / (diagonal[j, i] - coupling[j - 1] * coupling[j - 1] * inverse[j - 1, i])


@njit(cache=True, error_model="numpy")
def sweep_columns(coupling, inverse, rhs):
    """Solve the system that `factor_columns` factorised, for every column of rhs (nz, n) at once, in place."""
    nz, n = rhs.shape
    for i in range(n):
        rhs[0, i] *= inverse[0, i]
    for j in range(1, nz):
        for i in range(n):
            rhs[j, i] = (rhs[j, i] + coupling[j - 1] * rhs[j - 1, i]) * inverse[j, i]
    for j in range(nz - 2, -1, -1):
        for i in range(n):
            rhs[j, i] += coupling[j] * inverse[j, i] * rhs[j + 1, i]


@njit(cache=True, error_model="numpy")
def solve_rows(lower, diag, upper, rhs):
    """Solve a tridiagonal system along the second axis for every row, in place; diag is overwritten.

    Rows are taken eight at a time side by side: one row alone waits for each of its divisions.
    """
    nz, n = rhs.shape
    lo, di, up, rh = np.empty((n, 8)), np.empty((n, 8)), np.empty((n, 8)), np.empty((n, 8))
    for first in range(0, nz, 8):
        for k in range(8):
            j = min(first + k, nz - 1)
            for i in range(n):
                lo[i, k], di[i, k], up[i, k], rh[i, k] = lower[j, i], diag[j, i], upper[j, i], rhs[j, i]
        solve_columns(lo, di, up, rh, n)
        for k in range(min(8, nz - first)):
            for i in range(n):
                rhs[first + k, i] = rh[i, k]


@njit(cache=True, error_model="numpy")
def sweep_v(nu, m, e, step, rhs, half):
    """Solve (1 - step A_r)(1 - step A_z) d = rhs for v in place; `half` keeps the result after the first factor.

    A is exactly the derivative by v of the viscous `swirl_fluxes`, so the step's effective viscous fluxes are those of
    v + half (along r) and v + d (along z) and the angular momentum closes to round-off.
    """
    nz, nr = rhs.shape
    r, rf = m.r, m.rf
    lo, di, up = np.zeros((nz, nr)), np.ones((nz, nr)), np.zeros((nz, nr))
    scale = step / (m.a * r)
    weight = 0.5 * rf**3 / m.drc
    for j in range(nz):
        for i in range(1, nr):
            vis = weight[i] * (nu[j + 1, i] + nu[j + 1, i + 1])
            lo[j, i] = -scale[i] * vis / r[i - 1]
            di[j, i] += scale[i] * vis / r[i]
        for i in range(nr - 1):
            vis = weight[i + 1] * (nu[j + 1, i + 1] + nu[j + 1, i + 2])
            up[j, i] = -scale[i] * vis / r[i + 1]
            di[j, i] += scale[i] * vis / r[i]
        di[j, 0] += scale[0] * 2.0 * weight[0] * nu[j + 1, 0] * e.inner_stress / r[0]
        vis = 2.0 * weight[nr] * nu[j + 1, nr + 1] * e.side_stress_v[j]
        di[j, nr - 1] += scale[nr - 1] * vis / r[nr - 1]
    solve_rows(lo, di, up, rhs)
    half[:, :] = rhs
    lo[:, :], di[:, :], up[:, :] = 0.0, 1.0, 0.0
    for j in range(1, nz):
        below, above = step / m.dz[j - 1], step / m.dz[j]
        for i in range(nr):
            vis = 0.5 * (nu[j, i + 1] + nu[j + 1, i + 1]) / m.dzc[j]
            up[j - 1, i] = -below * vis
            di[j - 1, i] += below * vis
            lo[j, i] = -above * vis
            di[j, i] += above * vis
    for i in range(nr):
        di[0, i] += step / m.dz[0] * nu[0, i + 1] / m.dzc[0] * e.bottom_stress_v[i]
        di[nz - 1, i] += step / m.dz[nz - 1] * nu[nz + 1, i + 1] / m.dzc[nz] * e.top_stress_v[i]
    solve_columns(lo, di, up, rhs, nz)


@njit(cache=True, error_model="numpy")
def sweep_u(u, nu, nuc, m, e, step, rhs):
    """Solve (1 - step A_r)(1 - step A_z) d = rhs for u in place.

    A holds the stress of one component and the damping part of the open side's own terms.
    """
    nz = u.shape[0]
    nr = u.shape[1] - 1
    r, rf = m.r, m.rf
    lo, di, up = np.zeros((nz, nr + 1)), np.ones((nz, nr + 1)), np.zeros((nz, nr + 1))
    scale = step / m.ac
    weight, hoop = 2.0 * r / m.dr, m.drc[1:] / rf[1:]
    for j in range(nz):
        rhs[j, 0] = 0.0
        for i in range(1, nr):
            vis, vis_out = nu[j + 1, i] * weight[i - 1], nu[j + 1, i + 1] * weight[i]
            lo[j, i] = -scale[i] * vis
            up[j, i] = -scale[i] * vis_out
            turning = (nu[j + 1, i] + nu[j + 1, i + 1]) * hoop[i - 1]
            di[j, i] += scale[i] * (vis + vis_out + turning)
        if e.side_kind[j] == 1:
            vis = nu[j + 1, nr] * weight[nr - 1]
            lo[j, nr] = -scale[nr] * vis
            di[j, nr] += scale[nr] * (vis + max(0.0, 2.0 * rf[nr] * u[j, nr]))
            di[j, nr] += step * abs(side_pressure_slope(u[j, nr], e, j)) / m.drc[nr]
        else:
            rhs[j, nr] = 0.0
    solve_rows(lo, di, up, rhs)
    lo[:, :], di[:, :], up[:, :] = 0.0, 1.0, 0.0
    for j in range(1, nz):
        below, above = step / m.dz[j - 1], step / m.dz[j]
        for i in range(1, nr):
            vis = nuc[j, i] / m.dzc[j]
            up[j - 1, i] = -below * vis
            di[j - 1, i] += below * vis
            lo[j, i] = -above * vis
            di[j, i] += above * vis
        vis = nuc[j, nr] / m.dzc[j] * e.side_stress_w[j]
        if e.side_kind[j - 1] == 1:
            up[j - 1, nr] = -below * vis
            di[j - 1, nr] += below * vis
        if e.side_kind[j] == 1:
            lo[j, nr] = -above * vis
            di[j, nr] += above * vis
    bottom, top = step / m.dz[0], step / m.dz[nz - 1]
    for i in range(1, nr + 1):
        if i < nr or e.side_kind[0] == 1:
            share = e.bottom_stress_u[i] * (e.side_stress_w[0] if i == nr else 1.0)
            di[0, i] += bottom * nuc[0, i] / m.dzc[0] * share
        if i < nr or e.side_kind[nz - 1] == 1:
            share = e.top_stress_u[i] * (e.side_stress_w[nz] if i == nr else 1.0)
            di[nz - 1, i] += top * nuc[nz, i] / m.dzc[nz] * share
    solve_columns(lo, di, up, rhs, nz)


@njit(cache=True, error_model="numpy")
def sweep_w(w, nu, nuc, m, e, step, rhs):
    """Solve (1 - step A_r)(1 - step A_z) d = rhs for w in place.

    A holds the stress of one component and the damping part of the exhaust's own terms.
    """
    nz = w.shape[0] - 1
    nr = w.shape[1]
    rf = m.rf
    lo, di, up = np.zeros((nz + 1, nr)), np.ones((nz + 1, nr)), np.zeros((nz + 1, nr))
    scale = step / m.a
    weight = rf[:nr] / m.drc[:nr]
    rhs[0, :] = 0.0
    for j in range(1, nz + 1):
        for i in range(1, nr):
            vis = nuc[j, i] * weight[i] * (e.top_stress_u[i] if j == nz else 1.0)
            lo[j, i] = -scale[i] * vis
            di[j, i] += scale[i] * vis
            up[j, i - 1] = -scale[i - 1] * vis
            di[j, i - 1] += scale[i - 1] * vis
        share = e.inner_stress * (e.top_stress_u[0] if j == nz else 1.0)
        di[j, 0] += scale[0] * nuc[j, 0] * weight[0] * share
        share = e.side_stress_w[j] * (e.top_stress_u[nr] if j == nz else 1.0)
        di[j, nr - 1] += scale[nr - 1] * nuc[j, nr] * rf[nr] / m.drc[nr] * share
    for i in range(nr):
        if e.top_kind[i] == 0:
            lo[nz, i], di[nz, i], up[nz, i], rhs[nz, i] = 0.0, 1.0, 0.0, 0.0
    solve_rows(lo, di, up, rhs)
    lo[:, :], di[:, :], up[:, :] = 0.0, 1.0, 0.0
    for j in range(nz):
        below = step / (0.5 * (m.dz[j - 1] + m.dz[j])) if j > 0 else 0.0
        above = step / (0.5 * (m.dz[j] + (m.dz[j + 1] if j < nz - 1 else 0.0)))
        for i in range(nr):
            vis = 2.0 * nu[j + 1, i + 1] / m.dz[j]
            up[j, i] = -below * vis
            di[j, i] += below * vis
            lo[j + 1, i] = -above * vis
            di[j + 1, i] += above * vis
    last = step / (0.5 * m.dz[nz - 1])
    for i in range(nr):
        if e.top_kind[i] == 1:
            di[nz, i] += last * max(0.0, 2.0 * w[nz, i])
            di[nz, i] += step * abs(top_pressure_slope(w[nz, i], e, i)) / m.dzc[nz]
        else:
            lo[nz, i], di[nz, i] = 0.0, 1.0
    solve_columns(lo, di, up, rhs, nz + 1)


@njit(cache=True, error_model="numpy")
def sweep_momentum(u, w, nu, nuc, m, e, step, rhs_u, rhs_v, rhs_w, half):
    """All three sweeps by one call: handing over `m` and `e` takes as long as sweeping a coarse grid."""
    sweep_u(u, nu, nuc, m, e, step, rhs_u)
    sweep_v(nu, m, e, step, rhs_v, half)
    sweep_w(w, nu, nuc, m, e, step, rhs_w)


@njit(cache=True, error_model="numpy")
def subtract_gradient(u, w, phi, m, side_kind, top_kind, step, top_value, lag):
    """Take step * grad(phi) from u, w on every free face; phi is top_value in the exhaust. Kinds: as in `Edges`.

    On an open side phi is 0, or lag/step times the change of u there: lag (nz,) [m] is the step times the slope of the
    side's pressure law, where that is followed within the step.
    """
    nz, nr = phi.shape
    for j in range(nz):
        for i in range(1, nr):
            u[j, i] -= step * (phi[j, i] - phi[j, i - 1]) / m.drc[i]
        if side_kind[j] == 1:
            u[j, nr] += step * phi[j, nr - 1] / (m.drc[nr] + lag[j])
    for j in range(1, nz):
        for i in range(nr):
            w[j, i] -= step * (phi[j, i] - phi[j - 1, i]) / m.dzc[j]
    for i in range(nr):
        if top_kind[i] == 1:
            w[nz, i] -= step * (top_value - phi[nz - 1, i]) / m.dzc[nz]


@njit(cache=True, error_model="numpy")
def combine(scale, own, weights, n, increments, out):
    """Fill out (size,) with scale * own + the first n increments (stages, size) by their weights; own may be out."""
    # One pass for all of them: every one more would move `out` twice again.
    one, two, three = weights[0], weights[1], weights[2]
    if n == 0:
        for i in range(out.size):
            out[i] = scale * own[i]
    elif n == 1:
        for i in range(out.size):
            out[i] = scale * own[i] + one * increments[0, i]
    elif n == 2:
        for i in range(out.size):
            out[i] = scale * own[i] + one * increments[0, i] + two * increments[1, i]
    else:
        for i in range(out.size):
            out[i] = scale * own[i] + one * increments[0, i] + two * increments[1, i] + three * increments[2, i]


@njit(cache=True, error_model="numpy")
def add_trapezoid(step, last, new, total, squares):
    """Add the integral over a step of a field (nz, nr) to total, of its square to squares; last, new: at its ends."""
    half = 0.5 * step
    for j in range(new.shape[0]):
        for i in range(new.shape[1]):
            total[j, i] += half * (new[j, i] + last[j, i])
            squares[j, i] += half * (new[j, i] * new[j, i] + last[j, i] * last[j, i])


@njit(cache=True, error_model="numpy")
def largest_rate(u, v, w, c, reduced_gravity, m):
    """Return the largest rate at which the explicit parts turn a cell's phase: |u|/dr + |w|/dz + 2|v|/r + N [1/s].

    Advection by central differences, waves of the rotation, and those of the fog's weight (N^2 = g' times what its
    concentration c (nz, nr) falls by over the height); c may be empty.
    """
    nz, nr = v.shape
    largest = 0.0
    for j in range(nz):
        for i in range(nr):
            cu = max(abs(u[j, i]), abs(u[j, i + 1])) / m.dr[i]
            cw = max(abs(w[j, i]), abs(w[j + 1, i])) / m.dz[j]
            rate = cu + cw + 2.0 * abs(v[j, i]) / m.r[i]
            if c.size > 0 and j < nz - 1:
                rate += np.sqrt(max(0.0, reduced_gravity * (c[j, i] - c[j + 1, i]) / m.dzc[j + 1]))
            largest = max(largest, rate)
    return largest


@njit(cache=True, error_model="numpy")
def add_fog_weight(c, reduced_gravity, top_kind, out_w):
    """Add the weight of fog c (nz, nr) to the axial rates out_w (nz+1, nr) [m/s2]; reduced_gravity [m/s2].

    Plain means on faces: with the central fluxes of `scalar_rates` the work done on the air is, to round-off, what the
    fog loses in potential energy.
    """
    nz, nr = c.shape
    for j in range(1, nz):
        for i in range(nr):
            out_w[j, i] -= reduced_gravity * 0.5 * (c[j - 1, i] + c[j, i])
    for i in range(nr):
        if top_kind[i] == 1:
            out_w[nz, i] -= reduced_gravity * c[nz - 1, i]


@njit(cache=True, error_model="numpy")
def droplet_velocities(u, v, w, tau, settling, closed, m, out_u, out_w, onto_panels):
    """Fill out_u, out_w with the velocity of droplets, air plus tau (v^2/r, 0) and less the settling speed [m/s].

    On the rim: what leaves. onto_panels (nz,): the drift onto the closed share of the side, in out_u too. Droplets come
    through the floor's inlet at its w less the settling speed, so undiluted fog is no denser above it than below.
    """
    nz, nr = v.shape
    for j in range(nz):
        out_u[j, 0] = 0.0
        for i in range(1, nr):
            turn = 0.5 * (v[j, i - 1] + v[j, i])
            out_u[j, i] = u[j, i] + tau * turn * turn / m.rf[i]
        onto_panels[j] = closed[j] * tau * v[j, nr - 1] ** 2 / m.rf[nr]
        out_u[j, nr] = max(u[j, nr], 0.0) + onto_panels[j]
    for j in range(nz + 1):
        for i in range(nr):
            out_w[j, i] = w[j, i] - settling


@njit(cache=True, error_model="numpy")
def scalar_rates(u, c, w, nu, schmidt, m, out):
    """Rate of change of a passive scalar c [1/s] at cell centres: central advection, diffusivity nu/schmidt.

    It enters with 1 through the floor's inflow and with 0 through every other opening; solids are impermeable.
    c, out: (nz, nr). Conservative: the sum over cells changes by the fluxes through openings only.
    """
    nz, nr = c.shape
    out[:, :] = 0.0
    for j in range(nz):
        for i in range(1, nr):
            diffusivity = 0.5 * (nu[j + 1, i] + nu[j + 1, i + 1]) / schmidt
            slope = (c[j, i] - c[j, i - 1]) / m.drc[i]
            flux = m.rf[i] * (u[j, i] * 0.5 * (c[j, i - 1] + c[j, i]) - diffusivity * slope)
            out[j, i - 1] -= flux / m.a[i - 1]
            out[j, i] += flux / m.a[i]
        out[j, nr - 1] -= m.rf[nr] * max(u[j, nr], 0.0) * c[j, nr - 1] / m.a[nr - 1]
    for j in range(1, nz):
        for i in range(nr):
            diffusivity = 0.5 * (nu[j, i + 1] + nu[j + 1, i + 1]) / schmidt
            slope = (c[j, i] - c[j - 1, i]) / m.dzc[j]
            flux = w[j, i] * 0.5 * (c[j - 1, i] + c[j, i]) - diffusivity * slope
            out[j - 1, i] -= flux / m.dz[j - 1]
            out[j, i] += flux / m.dz[j]
    for i in range(nr):
        out[0, i] += (max(w[0, i], 0.0) + min(w[0, i], 0.0) * c[0, i]) / m.dz[0]
        out[nz - 1, i] -= max(w[nz, i], 0.0) * c[nz - 1, i] / m.dz[nz - 1]


@njit(cache=True, error_model="numpy")
def fog_outflows(u, w, onto_panels, along_r, along_z, m, out):
    """Fill out (5,) with 0 and the fog that leaves onto the floor, panels, by the sides, the exhaust [m3/s].

    u (nz, nr+1), w (nz+1, nr), onto_panels (nz,): velocities of the droplets; along_r, along_z (nz, nr): fog in the
    fluxes.
    """
    nz, nr = along_r.shape
    floor = panels = sides = exhaust = 0.0
    for j in range(nz):
        rim = m.rf[nr] * m.dz[j] * along_r[j, nr - 1]
        panels += rim * onto_panels[j]
        sides += rim * (max(u[j, nr], 0.0) - onto_panels[j])
    for i in range(nr):
        floor += m.a[i] * max(-w[0, i], 0.0) * along_z[0, i]
        exhaust += m.a[i] * max(w[nz, i], 0.0) * along_z[nz - 1, i]
    turn = 2.0 * np.pi
    out[0], out[1], out[2], out[3], out[4] = 0.0, turn * floor, turn * panels, turn * sides, turn * exhaust


@njit(cache=True, error_model="numpy")
def sweep_scalar(u, w, nu, schmidt, m, step, rhs, half):
    """Solve (1 - step A_r)(1 - step A_z) d = rhs in place, A the derivative of `scalar_rates` by c.

    `half` keeps the result after the first factor, as in `sweep_v`.
    """
    nz, nr = rhs.shape
    lo, di, up = np.zeros((nz, nr)), np.ones((nz, nr)), np.zeros((nz, nr))
    scale = step / m.a
    weight = 0.5 * m.rf[:nr] / (m.drc[:nr] * schmidt)
    for j in range(nz):
        for i in range(1, nr):
            adv = 0.5 * m.rf[i] * u[j, i]
            dif = weight[i] * (nu[j + 1, i] + nu[j + 1, i + 1])
            lo[j, i] = -scale[i] * (adv + dif)
            di[j, i] += scale[i] * (dif - adv)
            up[j, i - 1] = scale[i - 1] * (adv - dif)
            di[j, i - 1] += scale[i - 1] * (adv + dif)
        di[j, nr - 1] += scale[nr - 1] * m.rf[nr] * max(u[j, nr], 0.0)
    solve_rows(lo, di, up, rhs)
    half[:, :] = rhs
    lo[:, :], di[:, :], up[:, :] = 0.0, 1.0, 0.0
    for j in range(1, nz):
        below, above = step / m.dz[j - 1], step / m.dz[j]
        for i in range(nr):
            adv, dif = 0.5 * w[j, i], 0.5 * (nu[j, i + 1] + nu[j + 1, i + 1]) / (schmidt * m.dzc[j])
            up[j - 1, i] = below * (adv - dif)
            di[j - 1, i] += below * (adv + dif)
            lo[j, i] = -above * (adv + dif)
            di[j, i] += above * (dif - adv)
    for i in range(nr):
        di[0, i] -= step / m.dz[0] * min(w[0, i], 0.0)
        di[nz - 1, i] += step / m.dz[nz - 1] * max(w[nz, i], 0.0)
    solve_columns(lo, di, up, rhs, nz)


@njit(cache=True, error_model="numpy")
def velocity_gradients(u, v, w, m, e, strain, spin):
    """Fill strain (6, nz, nr) with S_rr, S_tt, S_zz, S_rt, S_rz, S_tz and spin (3, nz, nr) with W_rt, W_rz, W_tz [1/s].

    At cell centres; S and W are the symmetric and antisymmetric part of L_ij = du_i/dx_j. Velocities on a wall are the
    wall's by the share of its stress, those on the axis mirror images.
    """
    nz, nr = v.shape
    r, rf = m.r, m.rf
    dwdr, dudz = np.zeros((nz + 1, nr + 1)), np.zeros((nz + 1, nr + 1))
    for j in range(nz + 1):
        for i in range(1, nr):
            dwdr[j, i] = (w[j, i] - w[j, i - 1]) / m.drc[i]
        dwdr[j, nr] = (e.side_w[j] - w[j, nr - 1]) / m.drc[nr] * e.side_stress_w[j]
    for i in range(1, nr + 1):
        dudz[0, i] = (u[0, i] - e.bottom_u[i]) / m.dzc[0] * e.bottom_stress_u[i]
        dudz[nz, i] = (e.top_u[i] - u[nz - 1, i]) / m.dzc[nz] * e.top_stress_u[i]
        for j in range(1, nz):
            dudz[j, i] = (u[j, i] - u[j - 1, i]) / m.dzc[j]
    for j in range(nz):
        slipping = v[j, nr - 1] * rf[nr] / r[nr - 1]
        at_side = slipping + min(e.side_stress_v[j], 1.0) * (e.side_v[j] - slipping)
        for i in range(nr):
            below = v[j - 1, i] if j > 0 else v[0, i] + e.bottom_stress_v[i] * (e.bottom_v[i] - v[0, i])
            above = v[j + 1, i] if j < nz - 1 else v[j, i] + e.top_stress_v[i] * (e.top_v[i] - v[j, i])
            z_low, z_high = m.z[j - 1] if j > 0 else 0.0, m.z[j + 1] if j < nz - 1 else m.zf[nz]
            inner, r_in = (v[j, i - 1], r[i - 1]) if i > 0 else (-v[j, 0], -r[0])
            outer, r_out = (v[j, i + 1], r[i + 1]) if i < nr - 1 else (at_side, rf[nr])
            dvdz = (above - below) / (z_high - z_low)
            dvdr, turn = (outer - inner) / (r_out - r_in), v[j, i] / r[i]
            axial = 0.25 * (dwdr[j, i] + dwdr[j, i + 1] + dwdr[j + 1, i] + dwdr[j + 1, i + 1])
            radial = 0.25 * (dudz[j, i] + dudz[j, i + 1] + dudz[j + 1, i] + dudz[j + 1, i + 1])
            strain[0, j, i] = (u[j, i + 1] - u[j, i]) / m.dr[i]
            strain[1, j, i] = 0.5 * (u[j, i] + u[j, i + 1]) / r[i]
            strain[2, j, i] = (w[j + 1, i] - w[j, i]) / m.dz[j]
            strain[3, j, i] = 0.5 * (dvdr - turn)
            strain[4, j, i] = 0.5 * (axial + radial)
            strain[5, j, i] = 0.5 * dvdz
            spin[0, j, i] = -0.5 * (dvdr + turn)
            spin[1, j, i] = 0.5 * (radial - axial)
            spin[2, j, i] = 0.5 * dvdz


@njit(cache=True, error_model="numpy")
def rotation_function(u, v, w, strain, spin, m, c_r1, c_r2, c_r3, out):
    """Fill out (nz, nr) with f_r1 of the rotation and curvature correction.

    Spalart and Shur 1997, Aerosp. Sci. Technol. 1:297; Shur, Strelets, Travin and Spalart 2000, AIAA J. 38:784:
    r* = S/W, r~ = 2 W_ik S_jk (D S_ij/D t)/D^4, D^2 = (S^2 + W^2)/2. The change of S in time at a place is left out.
    """
    nz, nr = v.shape
    s, q, d = np.zeros((3, 3)), np.zeros((3, 3)), np.zeros((3, 3))
    place = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))
    for j in range(nz):
        low, high = max(j - 1, 0), min(j + 1, nz - 1)
        for i in range(nr):
            inner, outer = max(i - 1, 0), min(i + 1, nr - 1)
            at_u, at_w, turn = 0.5 * (u[j, i] + u[j, i + 1]), 0.5 * (w[j, i] + w[j + 1, i]), v[j, i] / m.r[i]
            for k in range(6):
                a, b = place[k]
                along = at_u * (strain[k, j, outer] - strain[k, j, inner]) / (m.r[outer] - m.r[inner])
                along += at_w * (strain[k, high, i] - strain[k, low, i]) / (m.z[high] - m.z[low])
                s[a, b] = s[b, a] = strain[k, j, i]
                d[a, b] = d[b, a] = along
            q[0, 1], q[0, 2], q[1, 2] = spin[0, j, i], spin[1, j, i], spin[2, j, i]
            q[1, 0], q[2, 0], q[2, 1] = -q[0, 1], -q[0, 2], -q[1, 2]
            # The unit vectors turn with the air: d e_r = e_t dt v/r, d e_t = -e_r dt v/r.
            d[0, 0] += -2.0 * turn * s[0, 1]
            d[1, 1] += 2.0 * turn * s[0, 1]
            d[0, 1] += turn * (s[0, 0] - s[1, 1])
            d[0, 2] += -turn * s[1, 2]
            d[1, 2] += turn * s[0, 2]
            d[1, 0], d[2, 0], d[2, 1] = d[0, 1], d[0, 2], d[1, 2]
            s2 = q2 = change = 0.0
            for a in range(3):
                for b in range(3):
                    s2 += 2.0 * s[a, b] * s[a, b]
                    q2 += 2.0 * q[a, b] * q[a, b]
                    for c in range(3):
                        change += 2.0 * q[a, c] * s[b, c] * d[a, b]
            d2 = 0.5 * (s2 + q2) + 1e-30
            star = np.sqrt(s2 / (q2 + 1e-30))
            bend = 1.0 - c_r3 * np.arctan(c_r2 * change / (d2 * d2))
            out[j, i] = (1.0 + c_r1) * 2.0 * star / (1.0 + star) * bend - c_r1


@njit(cache=True, error_model="numpy")
def eddy_diffusivity(c, nu0, cn1):
    """nu + f_n nu~ [m2/s]; f_n differs from 1 where nu~ is negative (Allmaras, Johnson and Spalart 2012)."""
    if c >= 0.0:
        return nu0 + c
    chi3 = (c / nu0) ** 3
    return nu0 + c * (cn1 + chi3) / (cn1 - chi3)


@njit(cache=True, error_model="numpy")
def eddy_rates(u, w, c, q, strain, spin, turned, distance, nu0, coming, m, e, k, out, decay):
    """Rate of change of nu~ [m2/s2] and its implicit decay rate [1/s], both (nz, nr).

    Spalart and Allmaras 1994, La Recherche Aerospatiale 1:5, without trip terms; where nu~ is negative the form of
    Allmaras, Johnson and Spalart 2012 (ICCFD7-1902), so that nothing is clipped. turned: f_r1, on the production.
    coming (nr,): nu~ of air that comes in through the floor, its last value through the side; jets bring that around
    them. k: constants, `eddy.CONSTANTS`.
    """
    nz, nr = c.shape
    cb1, cb2, sigma, kappa, cw2, cw3, cv1, ct3, cn1, c2, c3 = k
    cw1 = cb1 / kappa**2 + (1.0 + cb2) / sigma
    for j in range(nz):
        for i in range(nr):
            west = (c[j, i] - c[j, i - 1]) / m.drc[i] if i > 0 else 0.0
            east = (c[j, i + 1] - c[j, i]) / m.drc[i + 1] if i < nr - 1 else 0.0
            south = (c[j, i] - c[j - 1, i]) / m.dzc[j] if j > 0 else c[j, i] / m.dzc[0] * e.bottom_stress_v[i]
            north = (c[j + 1, i] - c[j, i]) / m.dzc[j + 1] if j < nz - 1 else 0.0
            if i == nr - 1:
                east = -c[j, i] / m.drc[nr] * min(e.side_stress_v[j], 1.0)
            if j == nz - 1:
                north = -c[j, i] / m.dzc[nz] * e.top_stress_v[i]
            own = eddy_diffusivity(c[j, i], nu0, cn1)
            d_west = 0.5 * (own + eddy_diffusivity(c[j, i - 1], nu0, cn1)) if i > 0 else 0.0
            d_east = 0.5 * (own + eddy_diffusivity(c[j, i + 1], nu0, cn1)) if i < nr - 1 else nu0
            d_south = 0.5 * (own + eddy_diffusivity(c[j - 1, i], nu0, cn1)) if j > 0 else nu0
            d_north = 0.5 * (own + eddy_diffusivity(c[j + 1, i], nu0, cn1)) if j < nz - 1 else nu0
            # On the faces of the boundary what flows in is `coming`, what flows out the value inside.
            c_west = 0.5 * (c[j, i - 1] + c[j, i]) if i > 0 else 0.0
            c_east = 0.5 * (c[j, i] + c[j, i + 1]) if i < nr - 1 else (c[j, i] if u[j, nr] > 0.0 else coming[nr - 1])
            c_south = 0.5 * (c[j - 1, i] + c[j, i]) if j > 0 else (coming[i] if w[0, i] > 0.0 else c[j, i])
            c_north = 0.5 * (c[j, i] + c[j + 1, i]) if j < nz - 1 else c[j, i]
            f_west = m.rf[i] * (u[j, i] * c_west - d_west / sigma * west)
            f_east = m.rf[i + 1] * (u[j, i + 1] * c_east - d_east / sigma * east)
            f_south = w[j, i] * c_south - d_south / sigma * south
            f_north = w[j + 1, i] * c_north - d_north / sigma * north
            slope2 = (0.5 * (west + east)) ** 2 + (0.5 * (south + north)) ** 2
            rate = (f_west - f_east) / m.a[i] + (f_south - f_north) / m.dz[j] + q[j, i] * c[j, i] + cb2 / sigma * slope2
            vorticity = np.sqrt(4.0 * (spin[0, j, i] ** 2 + spin[1, j, i] ** 2 + spin[2, j, i] ** 2)) + 1e-30
            d2, value = distance[j, i] ** 2, c[j, i]
            if value < 0.0:
                decay[j, i] = 0.0
                out[j, i] = rate + cb1 * (1.0 - ct3) * vorticity * value + cw1 * value * value / d2
                continue
            chi = value / nu0
            fv1 = chi**3 / (chi**3 + cv1**3)
            more = value / (kappa * kappa * d2) * (1.0 - chi / (1.0 + chi * fv1))
            shear = vorticity + more
            if more < -c2 * vorticity:
                shear = vorticity + vorticity * (c2 * c2 * vorticity + c3 * more) / ((c3 - 2.0 * c2) * vorticity - more)
            ratio = min(value / (shear * kappa * kappa * d2), 10.0)
            g = ratio + cw2 * (ratio**6 - ratio)
            fw = g * ((1.0 + cw3**6) / (g**6 + cw3**6)) ** (1.0 / 6.0)
            decay[j, i] = 2.0 * cw1 * fw * value / d2
            out[j, i] = rate + cb1 * turned[j, i] * shear * value - 0.5 * decay[j, i] * value


@njit(cache=True, error_model="numpy")
def sweep_eddy(u, w, c, decay, radial, nu0, m, e, k, step, rhs):
    """Solve (1 - step A_r)(1 - step A_z) d = rhs for nu~ in place: transport, diffusion with nu~ frozen, decay.

    radial: share of the decay that belongs to the r-factor, where the side is the wall that makes it. Beside a wall
    decay and diffusion towards it balance, so they must stand in one factor.
    """
    nz, nr = rhs.shape
    sigma, cn1 = k[2], k[8]
    d = np.empty((nz, nr))
    for j in range(nz):
        for i in range(nr):
            d[j, i] = eddy_diffusivity(c[j, i], nu0, cn1) / sigma
    lo, di, up = np.zeros((nz, nr)), 1.0 + step * decay * radial, np.zeros((nz, nr))
    for j in range(nz):
        for i in range(1, nr):
            adv, dif = 0.5 * m.rf[i] * u[j, i], 0.5 * (d[j, i - 1] + d[j, i]) * m.rf[i] / m.drc[i]
            inner, outer = step / m.a[i - 1], step / m.a[i]
            lo[j, i] = -outer * (adv + dif)
            di[j, i] += outer * (dif - adv)
            up[j, i - 1] = inner * (adv - dif)
            di[j, i - 1] += inner * (adv + dif)
        out = max(u[j, nr], 0.0) + nu0 / sigma / m.drc[nr] * min(e.side_stress_v[j], 1.0)
        di[j, nr - 1] += step / m.a[nr - 1] * m.rf[nr] * out
    solve_rows(lo, di, up, rhs)
    lo[:, :], up[:, :] = 0.0, 0.0
    for j in range(nz):
        for i in range(nr):
            di[j, i] = 1.0 + step * decay[j, i] * (1.0 - radial[j, i])
    for j in range(1, nz):
        below, above = step / m.dz[j - 1], step / m.dz[j]
        for i in range(nr):
            adv, dif = 0.5 * w[j, i], 0.5 * (d[j - 1, i] + d[j, i]) / m.dzc[j]
            up[j - 1, i] = below * (adv - dif)
            di[j - 1, i] += below * (adv + dif)
            lo[j, i] = -above * (adv + dif)
            di[j, i] += above * (dif - adv)
    for i in range(nr):
        di[0, i] += step / m.dz[0] * (nu0 / sigma / m.dzc[0] * e.bottom_stress_v[i] + max(-w[0, i], 0.0))
        di[nz - 1, i] += step / m.dz[nz - 1] * (nu0 / sigma / m.dzc[nz] * e.top_stress_v[i] + max(w[nz, i], 0.0))
    solve_columns(lo, di, up, rhs, nz)
