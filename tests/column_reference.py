"""The column's equations written a second time, and solved by SciPy at tight tolerance.

Nothing here is taken from the library but the numbers of a `Task`: closures and balances are
transcribed afresh for corn, and each bed is one boundary-value or initial-value problem.
"""

from __future__ import annotations

import numpy as np
from scipy.integrate import solve_bvp, solve_ivp

C_A, C_V, C_W, L_0 = 1006.0, 1860.0, 4186.0, 2.501e6
EPS = 0.621945
C_M = 5025.0
L_REF = L_0 - (C_W - C_V) * 50.0
RHO = 610.0
CLIP = (1e-7, 0.999)


class BedFailed(Exception):
    """The reference itself did not reach its tolerance."""


def p_sat(theta):
    K = theta + 273.15
    # Hyland & Wexler 1983 over liquid
    return np.exp(
        -5800.2206 / K
        + 1.3914993
        - 0.048640239 * K
        + 4.1764768e-5 * K**2
        - 1.4452093e-8 * K**3
        + 6.5459673 * np.log(K)
    )


def kappa(theta, factor):
    # Henderson & Pabis 1961, degrees Rankine
    return factor * 0.54 * np.exp(-5023.0 / (1.8 * theta + 491.67))


def equilibrium(phi, theta):
    # modified Henderson, D245.4 corn
    return 0.01 * (-np.log(1.0 - phi) / (8.6541e-5 * (theta + 49.81))) ** (1.0 / 1.8634)


def transfer(flux, T):
    G = 3600.0 * flux
    h = 0.2755 * 1.006 * G * (0.008 * G / (0.06175 + 0.000165 * T)) ** -0.34
    return h * 784.0 / 3.6


def sources(T, W, theta, M, h_a, factor, p):
    ps = p_sat(theta)
    phi = np.clip(p * W / ((EPS + W) * ps), *CLIP)
    W_sat = EPS * ps / np.maximum(p - ps, 0.02 * p)
    R = RHO * kappa(theta, factor) * (M - equilibrium(phi, theta))
    R = R - h_a / C_A * np.maximum(0.0, W - W_sat)
    return R, h_a * (T - theta)


def rates(z, y, s, Gp, Ga, h_a, factor, p):
    T, W, theta, M = y
    R, q = sources(T, W, theta, M, h_a, factor, p)
    c_g = 1465.0 + C_M * M
    q_s = L_REF * 4.35 * np.exp(-28.25 * M) + (C_M - C_W) * 50.0
    L_g = L_0 + (C_V - C_M) * theta + q_s
    return np.vstack(
        [
            s * (-q - R * C_V * (T - theta)) / (Ga * (C_A + C_V * W)),
            s * R / Ga,
            (q - R * L_g) / (Gp * c_g),
            -R / Gp,
        ]
    )


def concurrent(theta, M, T, W, length, Gp, Ga, factor, p):
    h_a = transfer(Ga, T)
    scale = np.array([1.0, 1e-3, 1.0, 1e-2])
    out = solve_ivp(
        lambda z, y: rates(z, y, 1.0, Gp, Ga, h_a, factor, p)[:, 0],
        (0.0, length),
        [T, W, theta, M],
        method="LSODA",
        rtol=1e-7,
        atol=1e-7 * scale,
    )
    if not out.success:
        raise BedFailed(out.message)
    return out.y[2, -1], out.y[3, -1]


def counter(theta, M, T, W, length, Gp, Ga, factor, p):
    h_a = transfer(Ga, T)
    arguments = (-1.0, Gp, Ga, h_a, factor, p)

    def ends(top, bottom):
        return np.array([bottom[0] - T, (bottom[1] - W) * 1e3, top[2] - theta, (top[3] - M) * 1e2])

    # Grain as it enters; air that relaxes to it from the bottom up.
    span = Ga * C_A / h_a
    z = length * (1.0 - np.linspace(1.0, 0.0, 60) ** 2)
    fade = np.exp(-(length - z) / span)
    guess = np.vstack([theta + (T - theta) * fade, W + 0.0 * z, theta + 0.0 * z, M + 0.0 * z])
    for tolerance in (1e-3, 1e-5):
        out = solve_bvp(
            lambda z, y: kept_rates(z, y, *arguments),
            ends,
            z,
            guess,
            tol=tolerance,
            max_nodes=30_000,
        )
        z, guess = out.x, out.y
    if not out.success:
        raise BedFailed(out.message)
    return out.y[2, -1], out.y[3, -1]


def kept_rates(z, y, s, Gp, Ga, h_a, factor, p):
    """`rates` with trial states kept where the closures are defined."""
    kept = np.vstack(
        [
            np.clip(y[0], -80.0, 200.0),
            np.maximum(y[1], 1e-6),
            np.clip(y[2], -80.0, 200.0),
            np.clip(y[3], 1e-4, 2.0),
        ]
    )
    return rates(z, kept, s, Gp, Ga, h_a, factor, p)


def mixed_flow(work, counts):
    """Outlet temperature and moisture of a mixed-flow `Task` of one scenario."""
    theta, M, up = work.theta, work.M, True
    area, factor = work.dryer.area, work.rate / RHO
    Gp = work.dry_matter_rate / area
    for index, count in enumerate(counts):
        Ga = work.airflow[index] / count / area
        length = work.dryer.heights[index] / count
        for _ in range(count):
            solve = counter if up else concurrent
            theta, M = solve(
                theta, M, work.T[index], work.W[index], length, Gp, Ga, factor, work.pressure
            )
            up = not up
    return theta, M


def beds(work, against):
    """Outlet of a counter- or concurrent-flow `Task` of one scenario."""
    theta, M = work.theta, work.M
    area, factor = work.dryer.area, work.rate / RHO
    Gp = work.dry_matter_rate / area
    for index, counterflow in enumerate(against):
        Ga = work.airflow[index] / area
        solve = counter if counterflow else concurrent
        theta, M = solve(
            theta,
            M,
            work.T[index],
            work.W[index],
            work.dryer.heights[index],
            Gp,
            Ga,
            factor,
            work.pressure,
        )
    return theta, M


def cross_flow(work):
    """Outlet of a cross-flow `Task`, from lines at two spacings (Richardson's limit)."""
    coarse, fine = (np.array(cross_flow_lines(work, points)) for points in (48, 96))
    return fine + (fine - coarse) / 3.0


def cross_flow_lines(work, points):
    """Outlet of a cross-flow `Task`: lines down the column, air stepped across them."""
    area, factor, thick = work.dryer.area, work.rate / RHO, work.dryer.column_thickness
    Gp = work.dry_matter_rate / area
    theta, M = np.full(points, work.theta), np.full(points, work.M)
    for index, zone in enumerate(work.dryer.zones):
        if zone.turning == "inverted":
            theta, M = theta[::-1], M[::-1]
        elif zone.turning == "mixed":
            theta, M = mixed(theta, M)
        height = work.dryer.heights[index]
        Ga = work.airflow[index] / (work.dryer.volumes[index] / thick)
        air = (work.T[index], work.W[index], transfer(Ga, work.T[index]), Ga, thick / points)
        if zone.air_reversed:
            theta, M = theta[::-1], M[::-1]
        out = solve_ivp(
            lambda z, y, air=air: lines(y, Gp, air, factor, work.pressure),
            (0.0, height),
            np.concatenate([theta, 100.0 * M]),
            method="RK45",
            rtol=1e-5,
            atol=1e-5,
        )
        theta, M = out.y[:points, -1], out.y[points:, -1] / 100.0
        if zone.air_reversed:
            theta, M = theta[::-1], M[::-1]
    theta, M = mixed(theta, M)
    return theta[0], M[0]


def mixed(theta, M):
    held = L_REF * 4.35 / 28.25
    h = (1465.0 + C_M * M) * theta - (C_M - C_W) * 50.0 * M + held * np.exp(-28.25 * M)
    mean_M, mean_h = M.mean(), h.mean()
    bound = (C_M - C_W) * 50.0 * mean_M - held * np.exp(-28.25 * mean_M)
    mean = (mean_h + bound) / (1465.0 + C_M * mean_M)
    return np.full_like(theta, mean), np.full_like(M, mean_M)


def lines(y, Gp, air, factor, p):
    T, W, h_a, Ga, dx = air
    points = y.size // 2
    theta, M = y[:points], y[points:] / 100.0
    ps = p_sat(theta)
    W_sat = EPS * ps / np.maximum(p - ps, 0.02 * p)
    k = RHO * kappa(theta, factor)
    shift = 8.6541e-5 * (theta + 49.81)
    R, q = np.empty(points), np.empty(points)
    for i in range(points):
        t, w = T, W
        for half in (0.5, 1.0):
            phi = min(max(p * w / ((EPS + w) * ps[i]), CLIP[0]), CLIP[1])
            me = 0.01 * (-np.log(1.0 - phi) / shift[i]) ** (1.0 / 1.8634)
            R[i] = k[i] * (M[i] - me) - h_a / C_A * max(0.0, w - W_sat[i])
            q[i] = h_a * (t - theta[i])
            w = W + half * dx * R[i] / Ga
            c = Ga * (C_A + C_V * 0.5 * (w + W))
            t = T - half * dx * (q[i] + R[i] * C_V * (t - theta[i])) / c
        # What the grain gets is what the air gave over the whole step.
        R[i] = Ga * (w - W) / dx
        q[i] = h_a * (0.5 * (T + t) - theta[i])
        T, W = t, w
    c_g = 1465.0 + C_M * M
    q_s = L_REF * 4.35 * np.exp(-28.25 * M) + (C_M - C_W) * 50.0
    L_g = L_0 + (C_V - C_M) * theta + q_s
    return np.concatenate([(q - R * L_g) / (Gp * c_g), -100.0 * R / Gp])
